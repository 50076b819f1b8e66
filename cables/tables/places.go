package tables

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Place is a line and a column, counted from 1; the column counts characters.
type Place struct{ Line, Column int }

// mostNested is how deep a heading may nest for its arrays to be looked up.
const mostNested = 64

// scanPlaces finds where the keys and headings of a TOML text stand, by paths
// such as "name", "load", "load.kind", "cable[0]", "cable[0].id" and
// "cable[0].maker.name", how deep its brackets nest, and where they do. It trusts the text to
// be TOML: the TOML library, which gives no places for the tables of an array,
// judges the syntax. Keys of inline tables are left out; a reader falls back to
// the nearest table above them.
func scanPlaces(text string) (places map[string]Place, depth int, deepest Place) {
	places = map[string]Place{}
	s := placeScanner{text: text}
	s.scan(func(p piece) {
		if p.last {
			return
		}
		if p.depth > depth {
			depth, deepest = p.depth, s.place(p.start)
		}
		if _, seen := places[p.path]; !seen || p.heading {
			places[p.path] = s.place(p.start)
		}
		if list, is := strings.CutSuffix(p.path, "[0]"); is && p.entry {
			places[list] = places[p.path]
		}
	})
	return places, depth, deepest
}

// piece is a heading, or a key with its value, of a TOML text.
type piece struct {
	path           string
	heading, entry bool // of a table; of an entry of an array of tables
	last           bool // nothing but what stands behind all others
	depth          int  // of its brackets
	start          int  // byte where it begins
	value, end     int  // bytes where its value begins and ends; of a heading, where that ends
	above          []string
	beside         string
}

// scan tells the pieces of the text in order, each with its comments. What comments
// are left at the end are those of a last piece.
func (s *placeScanner) scan(do func(piece)) {
	counts := map[string]int{}
	table := ""
	// A heading goes on in the last table of each array that it names.
	path := func(key string) string {
		if strings.Count(key, ".") > mostNested { // refused for its depth
			return key
		}
		out := ""
		for rest, more := key, true; more; {
			var part string
			part, rest, more = strings.Cut(rest, ".")
			if out != "" {
				out += "."
			}
			out += part
			if n := counts[out]; n > 0 && more {
				out = fmt.Sprintf("%s[%d]", out, n-1)
			}
		}
		return out
	}
	tell := func(p piece) {
		p.above, p.beside = s.above, s.beside
		s.above, s.beside, s.blank = nil, "", false
		do(p)
	}
	for s.at < len(s.text) {
		white := s.at
		s.skip(" \t\r\n")
		s.blank = s.blank || strings.Count(s.text[white:s.at], "\n") > 0
		start := s.at
		switch {
		case s.at >= len(s.text):
		case s.text[s.at] == '#':
			s.comment(true)
		case strings.HasPrefix(s.text[s.at:], "[["):
			s.at += 2
			key := path(s.key())
			table = fmt.Sprintf("%s[%d]", key, counts[key])
			counts[key]++
			deep := strings.Count(key, ".") // [[a.b.c]] nests too
			end := s.headingEnd()
			tell(piece{path: table, depth: deep, heading: true, entry: true, start: start, value: end, end: end})
		case s.text[s.at] == '[':
			s.at++
			table = path(s.key())
			deep := strings.Count(table, ".")
			end := s.headingEnd()
			tell(piece{path: table, depth: deep, heading: true, start: start, value: end, end: end})
		default:
			key := s.key()
			dots := strings.Count(key, ".")
			if table != "" {
				key = table + "." + key
			}
			value := min(s.at+1, len(s.text)) // behind the equals sign
			deep, end := s.skipValue()
			tell(piece{path: key, depth: max(dots, deep), start: start, value: min(value, end), end: end})
		}
	}
	if len(s.above) > 0 {
		tell(piece{last: true, start: s.at, value: s.at, end: s.at})
	}
}

// placeScanner walks over a TOML text.
type placeScanner struct {
	text string
	at   int
	// The comments since the last piece: on lines of their own, with an empty one
	// for what blank lines are between them, and behind a value.
	above  []string
	beside string
	blank  bool // a blank line stands behind the last one
	// The last place looked up, from which the next one is counted.
	known          Place
	lineStart      int
	countedThrough int
}

// place returns the place of the byte offset; offsets must not decrease.
func (s *placeScanner) place(offset int) Place {
	passed := s.text[s.countedThrough:offset]
	s.known.Line += strings.Count(passed, "\n")
	if i := strings.LastIndexByte(passed, '\n'); i >= 0 {
		s.lineStart = s.countedThrough + i + 1
	}
	s.countedThrough = offset
	return Place{Line: s.known.Line + 1, Column: utf8.RuneCountInString(s.text[s.lineStart:offset]) + 1}
}

func (s *placeScanner) skip(set string) {
	for s.at < len(s.text) && strings.IndexByte(set, s.text[s.at]) >= 0 {
		s.at++
	}
}

func (s *placeScanner) skipLine() {
	if i := strings.IndexByte(s.text[s.at:], '\n'); i >= 0 {
		s.at += i + 1
		return
	}
	s.at = len(s.text)
}

// key reads a possibly dotted, possibly quoted key and returns its parts
// joined by dots.
func (s *placeScanner) key() string {
	var b strings.Builder
	for s.at < len(s.text) {
		switch c := s.text[s.at]; {
		case c == '"' || c == '\'':
			start := s.at
			s.skipString()
			b.WriteString(strings.Trim(s.text[start:s.at], string(c)))
		case c == '=' || c == ']' || c == '\n' || c == '#':
			return b.String()
		default:
			if c != ' ' && c != '\t' && c != '\r' {
				b.WriteByte(c)
			}
			s.at++
		}
	}
	return b.String()
}

// skipString skips the string that starts here, of any of TOML's four kinds.
func (s *placeScanner) skipString() {
	quote := s.text[s.at : s.at+1]
	if triple := strings.Repeat(quote, 3); strings.HasPrefix(s.text[s.at:], triple) {
		quote = triple
	}
	s.at += len(quote)
	for s.at < len(s.text) {
		switch {
		case quote[0] == '"' && s.text[s.at] == '\\':
			s.at = min(s.at+2, len(s.text))
		case len(quote) == 1 && s.text[s.at] == '\n': // not TOML
			return
		case strings.HasPrefix(s.text[s.at:], quote):
			s.at += len(quote)
			for len(quote) == 3 && s.at < len(s.text) && s.text[s.at] == quote[0] { // """" ends with a quote inside
				s.at++
			}
			return
		default:
			s.at++
		}
	}
}

// comment takes the comment that starts here, and its line's end; alone says that
// nothing else stands on its line.
func (s *placeScanner) comment(alone bool) {
	start := s.at
	s.skipLine()
	text := strings.TrimRight(s.text[start:s.at], " \t\r\n")
	if !alone {
		s.beside = text
		return
	}
	if s.blank && len(s.above) > 0 {
		s.above = append(s.above, "")
	}
	s.above, s.blank = append(s.above, text), false
}

// headingEnd skips the rest of a heading's line and returns where the heading ends.
func (s *placeScanner) headingEnd() (end int) {
	s.skip("] \t")
	end = len(strings.TrimRight(s.text[:s.at], " \t"))
	if s.at < len(s.text) && s.text[s.at] == '#' {
		s.comment(false)
	} else {
		s.skipLine()
	}
	return end
}

// skipValue skips up to the end of the line that ends the value, over strings
// and lists of several lines, and returns how deep brackets nested, and where the
// value ends.
func (s *placeScanner) skipValue() (deepest, end int) {
	depth := 0
	for s.at < len(s.text) {
		switch s.text[s.at] {
		case '"', '\'':
			s.skipString()
			end = s.at
			continue
		case '[', '{':
			depth++
			deepest = max(deepest, depth)
		case ']', '}':
			depth--
		case '#':
			s.comment(depth > 0) // one within a list goes above its key
			if depth <= 0 {
				return deepest, end
			}
			continue
		case '\n':
			if depth <= 0 {
				s.at++
				return deepest, end
			}
		}
		if strings.IndexByte(" \t\r\n", s.text[s.at]) < 0 {
			end = s.at + 1
		}
		s.at++
	}
	return deepest, end
}

// AfterTable returns what follows the table that text starts with: from the next
// heading on, with the blank lines and comments before it.
func AfterTable(text string) string {
	s := placeScanner{text: text}
	s.skipLine() // the table's own heading
	end := s.at  // of its last key
	for s.at < len(s.text) {
		s.skip(" \t\r\n")
		switch {
		case s.at >= len(s.text):
		case s.text[s.at] == '#':
			s.skipLine()
		case s.text[s.at] == '[':
			return text[end:]
		default:
			s.key()
			s.skipValue()
			end = s.at
		}
	}
	return text[end:]
}
