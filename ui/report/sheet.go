package report

import (
	"bytes"
	"fmt"
	"image/color"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Paper is the size of the pages.
type Paper int

// The papers.
const (
	A4 Paper = iota
	Letter
)

// size of the paper, points.
func (p Paper) size() (width, height float64) {
	if p == Letter {
		return 612, 792
	}
	return 595.28, 841.89
}

// written is how a text looks.
type written struct {
	title, strong bool
	color         color.NRGBA
}

func (w written) size() float64 {
	if w.title {
		return titleSize
	}
	return bodySize
}

func (w written) leading() float64 {
	if w.title {
		return titleLeading
	}
	return bodyLeading
}

// sheet is the pages in the making. Rows are put from the top of a page to its
// foot, then on the next; y is the top of the next row, points from the top.
type sheet struct {
	pdf           *fpdf.Fpdf
	face          *typeface
	colours       palette
	width, height float64
	y             float64
	running       string // name of the line, on each page but the first
	of            int    // pages in all; 0: not known yet
}

const fontName = "Go"

func newSheet(paper Paper, face *typeface, running string, of int) *sheet {
	width, height := paper.size()
	s := &sheet{face: face, colours: colours(), width: width, height: height, running: running, of: of}
	s.pdf = fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: width, Ht: height}})
	s.pdf.SetCatalogSort(true)
	s.pdf.SetAutoPageBreak(false, 0)
	s.pdf.SetMargins(0, 0, 0)
	s.pdf.SetCellMargin(0)
	s.pdf.SetLineCapStyle("butt")
	s.pdf.SetLineJoinStyle("round")
	s.pdf.AddUTF8FontFromBytes(fontName, "", goregular.TTF)
	s.pdf.AddUTF8FontFromBytes(fontName, "B", gobold.TTF)
	s.page()
	return s
}

// left, right and inner bound the text.
func (s *sheet) left() float64  { return margin }
func (s *sheet) right() float64 { return s.width - margin }
func (s *sheet) inner() float64 { return s.width - 2*margin }

// foot is where the rows of a page end.
func (s *sheet) foot() float64 { return s.height - 7*grid }

// page begins a page, with its head and its foot.
func (s *sheet) page() {
	s.pdf.AddPage()
	quiet := written{color: s.colours.Quiet}
	n := s.pdf.PageNo()
	count := fmt.Sprint(n)
	if s.of > 0 {
		count = fmt.Sprintf("%d of %d", n, s.of)
	}
	at := s.height - 4*grid
	s.put(s.right()-s.wide(count, quiet), at, count, quiet)
	s.put(s.left(), at, "Downlead advises; it certifies nothing.", quiet)
	s.y = margin
	if n > 1 {
		s.put(s.left(), 4.5*grid, s.fit(s.running, s.inner(), quiet), quiet)
		s.y = 7 * grid
	}
}

// need begins a new page where height does not fit on this one.
func (s *sheet) need(height float64) {
	if s.y+height > s.foot() && s.y > 8*grid {
		s.page()
	}
}

func (s *sheet) skip(height float64) { s.y += height }

func (s *sheet) use(w written) {
	style := ""
	if w.strong {
		style = "B"
	}
	s.pdf.SetFont(fontName, style, w.size())
	s.pdf.SetTextColor(int(w.color.R), int(w.color.G), int(w.color.B))
}

// wide is how wide a text is, points.
func (s *sheet) wide(text string, w written) float64 {
	return s.face.wide(s.face.clean(text), w.size(), w.strong)
}

// put writes text with its baseline at y.
func (s *sheet) put(x, y float64, text string, w written) {
	if text = s.face.clean(text); text == "" {
		return
	}
	s.use(w)
	s.pdf.Text(x, y, text)
}

// fit returns text, its middle left out where it is wider than width.
func (s *sheet) fit(text string, width float64, w written) string {
	return shortened(s.face.clean(text), func(short string) bool { return s.wide(short, w) <= width })
}

// wrap breaks text into rows no wider than width, at blanks, though not between a
// number and its unit; and within a word where one is wider than a row.
func (s *sheet) wrap(text string, width float64, w written) []string {
	var rows []string
	row := ""
	for _, word := range words(s.face.clean(text)) {
		joined := word
		if row != "" {
			joined = row + " " + word
		}
		if s.wide(joined, w) <= width {
			row = joined
			continue
		}
		if row != "" && s.wide(word, w) > width && s.wide(row, w) < width/2 { // it is broken anyway: from here on
			cut := s.breakAt(word, width-s.wide(row+" ", w), w)
			row, word = row+" "+word[:cut], word[cut:]
		}
		if row != "" {
			rows = append(rows, row)
		}
		for row = word; s.wide(row, w) > width; {
			cut := s.breakAt(row, width, w)
			rows, row = append(rows, row[:cut]), row[cut:]
		}
	}
	return append(rows, row)
}

// words returns the words of text, a number with its unit as one, and with the
// uncertainty between them.
func words(text string) []string {
	isNumber := func(word string) bool {
		_, err := strconv.ParseFloat(word, 64)
		return err == nil
	}
	isUnit := func(word string) bool {
		switch strings.TrimRight(word, ".,;:)") {
		case "m", "mm", "ft", "in", "dB", "Hz", "kHz", "MHz", "GHz", "%", "ohm", "pF", "nH", "mS", "V", "°C":
			return true
		}
		return false
	}
	var all []string
	last := "" // as it stands in text
	for _, word := range strings.Fields(text) {
		if n := len(all); n > 0 && (isUnit(word) && isNumber(last) || word == "±" && isNumber(last) || last == "±") {
			all[n-1] += " " + word
		} else {
			all = append(all, word)
		}
		last = word
	}
	return all
}

// atMost is wrap to no more than so many rows, the middle of the last left out.
func (s *sheet) atMost(most int, text string, width float64, w written) []string {
	rows := s.wrap(text, width, w)
	if len(rows) <= most {
		return rows
	}
	rest := strings.Join(strings.Fields(s.face.clean(text)), " ") // words that were broken stand whole in it
	for _, row := range rows[:most-1] {
		rest = strings.TrimPrefix(strings.TrimPrefix(rest, row), " ")
	}
	return append(rows[:most-1], s.fit(rest, width, w))
}

// breakAt is how many bytes of a word that is wider than width go on a row: at
// least one letter, behind a sign that divides names where one is near.
func (s *sheet) breakAt(word string, width float64, w written) int {
	cut := 0
	for i, r := range word {
		next := i + utf8.RuneLen(r)
		if i > 0 && s.wide(word[:next], w) > width {
			break
		}
		cut = next
	}
	if at := strings.LastIndexAny(word[:cut], `/\-_.,;:`); at > cut*2/3 {
		return at + 1
	}
	return cut
}

// text writes a paragraph from x on and moves below it.
func (s *sheet) text(x, width float64, text string, w written) {
	for _, row := range s.wrap(text, width, w) {
		s.need(w.leading())
		s.put(x, s.y+w.size()+1, row, w)
		s.skip(w.leading())
	}
}

// paragraph is text over the whole width, with a gap below.
func (s *sheet) paragraph(text string) {
	s.text(s.left(), s.inner(), text, written{color: s.colours.Ink})
	s.skip(grid / 2)
}

// chapter is a title of the first rank; what follows it stays on its page for
// keep points.
func (s *sheet) chapter(title string, keep float64) {
	if s.y > 8*grid {
		s.skip(2 * grid)
	}
	s.need(titleLeading + grid + keep)
	s.text(s.left(), s.inner(), title, written{title: true, strong: true, color: s.colours.Ink})
	s.skip(grid / 2)
}

// heading is a title of the second rank on a rule.
func (s *sheet) heading(title string, keep float64) {
	s.skip(grid)
	s.need(2*bodyLeading + keep)
	s.rule(s.left(), s.right(), s.y)
	s.skip(grid / 2)
	s.text(s.left(), s.inner(), title, written{strong: true, color: s.colours.Ink})
	s.skip(grid / 4)
}

// rule is a thin line from x to to at y.
func (s *sheet) rule(x, to, y float64) {
	e := s.colours.Edge
	s.pdf.SetDrawColor(int(e.R), int(e.G), int(e.B))
	s.pdf.SetLineWidth(0.75)
	s.pdf.SetDashPattern(nil, 0)
	s.pdf.Line(x, y, to, y)
}

// box fills a rectangle.
func (s *sheet) box(x, y, width, height float64, c color.NRGBA) {
	s.pdf.SetFillColor(int(c.R), int(c.G), int(c.B))
	s.pdf.Rect(x, y, width, height, "F")
}

// labelWidth is how wide the labels of facts are.
const labelWidth = 12 * grid

// fact is a label with what it says; nothing is written where that is nothing.
func (s *sheet) fact(label, text string) {
	s.factIn(label, text, written{color: s.colours.Ink})
}

// factIn is fact in another colour or weight.
func (s *sheet) factIn(label, text string, w written) {
	if text == "" {
		return
	}
	rows := s.wrap(text, s.inner()-labelWidth, w)
	s.need(min(2, float64(len(rows))) * bodyLeading)
	s.put(s.left(), s.y+bodySize+1, label, written{color: s.colours.Quiet})
	for _, row := range rows {
		s.need(bodyLeading)
		s.put(s.left()+labelWidth, s.y+bodySize+1, row, w)
		s.skip(bodyLeading)
	}
	s.skip(grid / 4)
}

// facts are several sentences behind one label, each behind a dash, or numbered
// where their order counts. The label comes again on each page.
func (s *sheet) facts(label string, texts []string, ordered bool) {
	page := -1
	for i, text := range texts {
		sign := "–"
		if ordered {
			sign = fmt.Sprintf("%d", i+1)
		}
		s.item(sign, labelWidth, text, func() {
			if n := s.pdf.PageNo(); n != page {
				s.put(s.left(), s.y+bodySize+1, label, written{color: s.colours.Quiet})
				page = n
			}
		})
	}
}

// items are sentences, each behind a dash.
func (s *sheet) items(texts []string) {
	for _, text := range texts {
		s.item("–", 0, text, func() {})
	}
}

// item is a sentence behind its sign, indented; begun is called on its first row.
func (s *sheet) item(sign string, indent float64, text string, begun func()) {
	const hang = 2 * grid
	rows := s.wrap(text, s.inner()-indent-hang, written{})
	s.need(min(2, float64(len(rows))) * bodyLeading)
	begun()
	s.put(s.left()+indent, s.y+bodySize+1, sign, written{color: s.colours.Quiet})
	s.text(s.left()+indent+hang, s.inner()-indent-hang, text, written{color: s.colours.Ink})
	s.skip(grid / 4)
}

// column of a table: its title, its share of the width that fixed columns leave
// (or, with fixed, the most that it may be wide in points: it is as wide as its
// texts), and where its texts stand.
type column struct {
	title string
	width float64
	fixed bool
	right bool
}

// cell of a table; color 0 is ink. With most above 0 it has no more rows, and the
// middle of the last is left out.
type cell struct {
	text   string
	strong bool
	color  color.NRGBA
	most   int
}

// table writes rows under their titles, which come again on each page.
func (s *sheet) table(columns []column, rows [][]cell) {
	const gap = 1.5 * grid
	free, shares := s.inner()-gap*float64(len(columns)-1), 0.0
	at, width := make([]float64, len(columns)), make([]float64, len(columns))
	for i, c := range columns {
		if !c.fixed {
			shares += c.width
			continue
		}
		width[i] = s.wide(c.title, written{})
		for _, row := range rows {
			width[i] = max(width[i], s.wide(row[i].text, written{strong: row[i].strong}))
		}
		width[i] = min(width[i], c.width)
		free -= width[i]
	}
	x := s.left()
	for i, c := range columns {
		if !c.fixed {
			width[i] = c.width * free / shares
		}
		at[i] = x
		x += width[i] + gap
	}
	wrap := func(cells []cell) (wrapped [][]string, most int) {
		wrapped, most = make([][]string, len(cells)), 1
		for i, c := range cells {
			if wrapped[i] = s.wrap(c.text, width[i], written{strong: c.strong}); c.most > 0 {
				wrapped[i] = s.atMost(c.most, c.text, width[i], written{strong: c.strong})
			}
			most = max(most, len(wrapped[i]))
		}
		return wrapped, most
	}
	line := func(cells []cell, ground func(height float64)) {
		wrapped, most := wrap(cells)
		if ground != nil {
			ground(float64(most)*bodyLeading + grid/2)
		}
		put := func(i, k int, y float64) {
			c := cells[i]
			w := written{strong: c.strong, color: c.color}
			if c.color == (color.NRGBA{}) {
				w.color = s.colours.Ink
			}
			x := at[i]
			if columns[i].right {
				x += width[i] - s.wide(wrapped[i][k], w)
			}
			s.put(x, y+bodySize+1, wrapped[i][k], w)
		}
		if height := float64(most) * bodyLeading; s.y+height <= s.foot() {
			for i := range cells { // cell by cell, as who reads or copies the text wants it
				for k := range wrapped[i] {
					put(i, k, s.y+float64(k)*bodyLeading)
				}
			}
			s.skip(height)
			return
		}
		for k := range most {
			if k > 0 && s.y+bodyLeading > s.foot() {
				s.page()
			}
			for i := range cells {
				if k < len(wrapped[i]) {
					put(i, k, s.y)
				}
			}
			s.skip(bodyLeading)
		}
	}
	titles := func() {
		var cells []cell
		for _, c := range columns {
			cells = append(cells, cell{text: c.title, color: s.colours.Quiet})
		}
		line(cells, nil)
		s.skip(grid / 4)
		s.rule(s.left(), s.right(), s.y)
		s.skip(grid / 4)
	}
	first := 1
	if len(rows) > 0 {
		_, first = wrap(rows[0])
	}
	s.need(float64(2+first) * bodyLeading)
	titles()
	for _, row := range rows {
		line(row, func(height float64) {
			if s.y+height > s.foot() && height < s.foot()-8*grid {
				s.page()
				titles()
			}
		})
		s.skip(grid / 4)
	}
}

// flag is the number of a fault on its ground, its left upper corner at x, y;
// it returns its width.
func (s *sheet) flag(x, y float64, label string) float64 {
	w := written{strong: true, color: s.colours.OnStrong}
	text := s.wide(label, w)
	width := max(bodyLeading, text+6)
	s.box(x, y, width, bodyLeading, s.colours.Out)
	s.put(x+(width-text)/2, y+bodySize+0.5, label, w)
	return width
}

// drawing makes room for a drawing of this height over the whole width.
func (s *sheet) drawing(height float64, drawn func(draw.Canvas)) {
	s.need(height)
	c := &canvas{sheet: s, left: s.left(), bottom: s.y + height, width: s.inner(), height: height}
	vg.Initialize(c)
	drawn(draw.NewCanvas(c, vg.Points(s.inner()), vg.Points(height)))
	s.skip(height)
}

// output writes the pages. Without a date the file has none.
func (s *sheet) output(title string, date time.Time) ([]byte, error) {
	s.pdf.SetTitle(title, true)
	s.pdf.SetCreator("Downlead", true)
	s.pdf.SetProducer("Downlead", true)
	stamp := date
	if stamp.IsZero() {
		stamp = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	s.pdf.SetCreationDate(stamp)
	s.pdf.SetModificationDate(stamp)
	var b bytes.Buffer
	if err := s.pdf.Output(&b); err != nil {
		return nil, fmt.Errorf("writing the PDF: %w", err)
	}
	if !date.IsZero() {
		return b.Bytes(), nil
	}
	// The library always writes a date. Blanks in its place keep every offset.
	out := b.Bytes()
	for _, key := range []string{"/CreationDate ", "/ModDate "} {
		if at := bytes.LastIndex(out, []byte(key)); at >= 0 {
			end := at + bytes.IndexByte(out[at:], '\n')
			copy(out[at:end], bytes.Repeat([]byte(" "), end-at))
		}
	}
	return out, nil
}
