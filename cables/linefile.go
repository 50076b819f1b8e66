package cables

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// longestSectionM and longestDeviceM bound lengths: feeders are metres to
// hundreds of metres long, so what is longer was not written in metres.
const (
	longestSectionM = 5000.0
	longestDeviceM  = 100.0
)

// ReadLine reads a line file; see DecodeLine.
func ReadLine(path string) (*Line, error) { return readLine(path, LoadCatalogue) }

// DecodeLine reads a line from r; file is the name for errors. A cable that
// the file does not define itself is taken by its id from LoadCatalogue. Every
// error is a *FileError, or several joined; unknown keys are errors.
func DecodeLine(file string, r io.Reader) (*Line, error) { return decodeLine(file, r, LoadCatalogue) }

// ReadLine is the function ReadLine with cables from c instead of
// LoadCatalogue. A nil c has no cables.
func (c *Catalogue) ReadLine(path string) (*Line, error) {
	return readLine(path, func() (*Catalogue, error) { return c, nil })
}

// DecodeLine is the function DecodeLine with cables from c instead of
// LoadCatalogue. A nil c has no cables.
func (c *Catalogue) DecodeLine(file string, r io.Reader) (*Line, error) {
	return decodeLine(file, r, func() (*Catalogue, error) { return c, nil })
}

func readLine(path string, catalogue func() (*Catalogue, error)) (*Line, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, &FileError{File: path, Err: reason(err)}
	}
	defer f.Close()
	return decodeLine(path, f, catalogue)
}

// reason strips the path from an error of the file system; FileError has it.
func reason(err error) error {
	var path *os.PathError
	if errors.As(err, &path) {
		return fmt.Errorf("%s: %w", path.Op, path.Err)
	}
	return err
}

func decodeLine(file string, r io.Reader, catalogue func() (*Catalogue, error)) (*Line, error) {
	root, err := readDocument(file, r)
	if err != nil {
		return nil, err
	}
	line := &Line{Name: root.text("name"), ReferenceImpedanceOhm: 50}
	if root.has("reference_impedance_ohm") {
		line.ReferenceImpedanceOhm = root.number("reference_impedance_ohm")
		if z := line.ReferenceImpedanceOhm; !(z >= 1 && z <= 1000) {
			root.wrong("reference_impedance_ohm", "reference impedance %g ohm is outside 1 to 1000 ohm; test ports have 50 or 75", z)
		}
	}
	root.lineCables(line)
	sections := root.lineSections(line)
	root.lineDevices(line)
	root.lineEnd(line)
	root.unknown(true)
	if err := resolveCables(line, sections, catalogue); err != nil {
		return nil, err
	}
	if err := root.doc.refusal(); err != nil {
		return nil, err
	}
	line.Notes = root.doc.oddities()
	return line, nil
}

func (t *table) lineCables(line *Line) {
	seen := map[string]bool{}
	for _, row := range t.tables("cable") {
		cable := row.cable(true)
		if seen[cable.ID] {
			row.wrong("id", "cable %q is defined twice; give each its own id", cable.ID)
		}
		seen[cable.ID] = true
		line.Cables = append(line.Cables, cable)
	}
}

func (t *table) lineSections(line *Line) []*table {
	rows := t.tables("section")
	seen := map[string]bool{}
	for _, row := range rows {
		s := Section{Name: row.text("name"), CableID: row.text("cable"), LengthM: row.number("length_m")}
		row.unknown(true)
		switch {
		case strings.TrimSpace(s.Name) == "":
			row.wrong("name", "this section has no name; give it one, such as name = \"feeder\"")
		case seen[s.Name]:
			row.wrong("name", "section %q exists twice; give each section its own name", s.Name)
		}
		seen[s.Name] = true
		switch {
		case !row.has("length_m"):
			row.wrong("length_m", "section %q has no length; give length_m in metres", s.Name)
		case s.LengthM <= 0:
			row.wrong("length_m", "section %q: a length of %g m is not positive; give metres, measured or from the drawing", s.Name, s.LengthM)
		case s.LengthM > longestSectionM:
			row.wrong("length_m", "section %q: a length of %g m is above %g m; give metres, not millimetres", s.Name, s.LengthM, longestSectionM)
		}
		line.Sections = append(line.Sections, s)
	}
	if len(rows) == 0 {
		t.wrong("section", "%v; add a [[section]] with name, cable and length_m", ErrNoSections)
	}
	return rows
}

// returnLoss reads a return loss; 0 or absent is not stated.
func (t *table) returnLoss(key string) float64 {
	db := t.number(key)
	switch {
	case db < 0:
		t.wrong(key, "%s %g is negative; return loss is a positive number of dB, such as 20", key, db)
	case db > 100:
		t.wrong(key, "%s %g dB is better than anything made; give dB, such as 20", key, db)
	}
	return db
}

func (t *table) lineDevices(line *Line) {
	for _, row := range t.tables("device") {
		d := Device{
			After: row.text("after"), Kind: row.text("kind"), LengthM: row.number("length_m"),
			ReturnLossDB: row.returnLoss("return_loss_db"), PassbandHz: row.band("passband_hz"),
		}
		row.unknown(true)
		if strings.TrimSpace(d.Kind) == "" {
			row.wrong("kind", "this device has no kind; say what it is, such as kind = \"surge-arrestor\"")
		}
		if line.sectionsNamed(d.After) == 0 {
			if len(line.Sections) > 0 {
				row.wrong("after", "device %q comes after section %q, which does not exist; %s", d.Kind, d.After, nearestSection(line, d.After))
			}
		}
		if d.LengthM < 0 || d.LengthM > longestDeviceM {
			row.wrong("length_m", "device %q: a length of %g m is outside 0 to %g m; give metres", d.Kind, d.LengthM, longestDeviceM)
		}
		line.Devices = append(line.Devices, d)
	}
}

func nearestSection(line *Line, name string) string {
	nearest, distance := "", 1<<30
	for _, s := range line.Sections {
		if d := EditDistance(strings.ToLower(name), strings.ToLower(s.Name)); d < distance {
			nearest, distance = s.Name, d
		}
	}
	return fmt.Sprintf("name a section such as %q", nearest)
}

// lineEnd reads the load, the limits and the instrument.
func (t *table) lineEnd(line *Line) {
	if load := t.table("load"); load == nil {
		t.odd("load", "nothing says what ends the line; add [load] with kind = \"antenna\", \"termination\", \"open\" or \"short\"")
	} else {
		line.Load = Load{Kind: LoadKind(load.text("kind")), BandHz: load.band("band_hz"), ReturnLossDB: load.returnLoss("return_loss_db")}
		load.unknown(true)
		switch line.Load.Kind {
		case Antenna, Termination, Open, Short:
		default:
			load.wrong("kind", "load kind %q is unknown; write antenna, termination, open or short", line.Load.Kind)
		}
	}
	if limits := t.table("limits"); limits != nil {
		line.Limits = Limits{VSWR: limits.number("vswr"), ReturnLossDB: limits.returnLoss("return_loss_db")}
		limits.unknown(true)
		if v := line.Limits.VSWR; limits.has("vswr") && !(v > 1 && v <= 1000) {
			limits.wrong("vswr", "a VSWR limit of %g is not above 1; give a ratio such as 1.5, or return_loss_db in dB", v)
		}
		if limits.has("vswr") && limits.has("return_loss_db") {
			limits.wrong("return_loss_db", "the limit is given twice, as VSWR and as return loss; keep one")
		}
	}
	if instrument := t.table("instrument"); instrument != nil {
		line.Instrument.MostPoints = instrument.integer("most_points")
		instrument.unknown(true)
		if n := line.Instrument.MostPoints; instrument.has("most_points") && (n < 2 || n > 10_000_000) {
			instrument.wrong("most_points", "most_points %d is outside 2 to 10000000", n)
		}
	}
}

// resolveCables adds the cables that sections name and the file does not
// define. The catalogue is loaded only when it is needed; its error is
// returned.
func resolveCables(line *Line, sections []*table, load func() (*Catalogue, error)) error {
	defined := map[string]bool{}
	for i := range line.Cables {
		defined[line.Cables[i].ID] = true
	}
	var catalogue *Catalogue
	loaded := false
	for i, section := range sections {
		id := line.Sections[i].CableID
		if defined[id] {
			continue
		}
		if strings.TrimSpace(id) == "" {
			section.wrong("cable", "section %q names no cable; give cable = the id of a [[cable]] or of the catalogue", line.Sections[i].Name)
			continue
		}
		if !loaded {
			var err error
			if catalogue, err = load(); err != nil {
				where := section.doc.places[section.pathOf("cable")]
				return &FileError{File: section.doc.file, Line: where.Line, Column: where.Column,
					Err: fmt.Errorf("cable %q is not defined in this file, and the catalogue cannot be read: %w", id, err)}
			}
			loaded = true
		}
		cable, found := catalogue.Find(id)
		if !found {
			section.wrong("cable", "cable %q is neither defined in this file nor in the catalogue%s; add a [[cable]] with this id", id, catalogue.suggest(id))
			continue
		}
		for _, r := range cable.unusable() {
			section.wrong("cable", "cable %q of the catalogue cannot be used: %s", id, r.text)
		}
		cable.ID = id // as the section spells it
		defined[id] = true
		line.Cables = append(line.Cables, cable)
		for _, r := range cable.odd() {
			section.odd("cable", "cable %q of the catalogue: %s", id, r.text)
		}
	}
	return nil
}

// suggest names catalogue ids that look like id, to be put into a sentence.
func (c *Catalogue) suggest(id string) string {
	var near []string
	for _, t := range c.Search(id) {
		near = append(near, t.ID)
	}
	if c != nil && len(near) == 0 {
		for i := range c.types {
			if EditDistance(fold(id), fold(c.types[i].ID)) <= 1 {
				near = append(near, c.types[i].ID)
			}
		}
	}
	if len(near) == 0 {
		return ""
	}
	return " (near: " + strings.Join(near[:min(len(near), 3)], ", ") + ")"
}

// EncodeLine writes the line as a line file with all its cables, those from
// the catalogue too, so that the record reads the same everywhere and for
// ever. It writes nothing, and returns why, when the line could not be read
// back. Notes are not written.
func EncodeLine(w io.Writer, line *Line) error {
	var out writer
	out.key("name", formatText(line.Name))
	out.number("reference_impedance_ohm", line.ReferenceImpedanceOhm)
	for i := range line.Cables {
		out.cable(&line.Cables[i])
	}
	for _, s := range line.Sections {
		out.heading("[[section]]")
		out.key("name", formatText(s.Name))
		out.key("cable", formatText(s.CableID))
		out.key("length_m", formatNumber(s.LengthM))
	}
	for _, d := range line.Devices {
		out.heading("[[device]]")
		out.key("after", formatText(d.After))
		out.key("kind", formatText(d.Kind))
		out.number("length_m", d.LengthM)
		out.number("return_loss_db", d.ReturnLossDB)
		out.band("passband_hz", d.PassbandHz)
	}
	if line.Load != (Load{}) {
		out.heading("[load]")
		out.key("kind", formatText(string(line.Load.Kind)))
		out.band("band_hz", line.Load.BandHz)
		out.number("return_loss_db", line.Load.ReturnLossDB)
	}
	if line.Limits != (Limits{}) {
		out.heading("[limits]")
		out.number("vswr", line.Limits.VSWR)
		out.number("return_loss_db", line.Limits.ReturnLossDB)
	}
	if line.Instrument != (Instrument{}) {
		out.heading("[instrument]")
		out.key("most_points", fmt.Sprint(line.Instrument.MostPoints))
	}
	var none *Catalogue
	if _, err := none.DecodeLine("line to be written", strings.NewReader(out.String())); err != nil {
		return err
	}
	_, err := io.WriteString(w, out.String())
	return err
}

// WriteLine writes the line file at path with EncodeLine. The file is replaced
// as a whole or not at all.
func WriteLine(path string, line *Line) error {
	var text strings.Builder
	if err := EncodeLine(&text, line); err != nil {
		return fmt.Errorf("%s: not written: %w", path, err)
	}
	return replaceFile(path, []byte(text.String()))
}

// replaceFile writes data beside path, then renames it over path.
func replaceFile(path string, data []byte) (err error) {
	if target, err := filepath.EvalSymlinks(path); err == nil {
		path = target // replace what a link points to, not the link
	}
	mode := os.FileMode(0o644)
	if info, err := os.Stat(path); err == nil {
		mode = info.Mode().Perm()
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".downlead-*")
	if err != nil {
		return &FileError{File: path, Err: fmt.Errorf("not written: %w", reason(err))}
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
			err = &FileError{File: path, Err: fmt.Errorf("not written: %w", reason(err))}
		}
	}()
	_, err = f.Write(data)
	if err == nil {
		err = f.Chmod(mode)
	}
	if err == nil {
		err = f.Sync()
	}
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
