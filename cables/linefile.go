package cables

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"downlead/cables/tables"
)

// FileError is an error with its place in a file; see package tables.
type FileError = tables.FileError

// readTOML reads a line file or a catalogue, which are a few kilobytes.
func readTOML(file string, r io.Reader) (*tables.Table, error) {
	return tables.Read(file, r, tables.Bounds{Kind: "a line or a catalogue", Bytes: 4 << 20, Depth: 16})
}

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
	root, err := readTOML(file, r)
	if err != nil {
		return nil, err
	}
	if kind := root.Text("schema"); kind != "" { // other files of the program have one
		root.Wrong("schema", "this is no line file, but of the kind %.60q; name the line's own file, which has [[section]] tables", kind)
		return nil, root.Refusal()
	}
	line, err := lineIn(root, catalogue)
	if err != nil {
		return nil, err
	}
	if err := root.Refusal(); err != nil {
		return nil, err
	}
	return line, nil
}

// LineIn reads a line from a table of a larger file, with the keys of a line
// file. What is wrong is recorded in the table: ask its Refusal before using the
// line. The error is that of a catalogue that cannot be read.
func LineIn(t *tables.Table) (*Line, error) { return lineIn(t, LoadCatalogue) }

func lineIn(root *tables.Table, catalogue func() (*Catalogue, error)) (*Line, error) {
	line := &Line{Name: root.Text("name"), ReferenceImpedanceOhm: 50}
	if root.Has("reference_impedance_ohm") {
		line.ReferenceImpedanceOhm = root.Number("reference_impedance_ohm")
		if z := line.ReferenceImpedanceOhm; !(z >= 1 && z <= 1000) {
			root.Wrong("reference_impedance_ohm", "reference impedance %g ohm is outside 1 to 1000 ohm; test ports have 50 or 75", z)
		}
	}
	lineCables(root, line)
	sections := lineSections(root, line)
	lineDevices(root, line)
	lineEnd(root, line)
	root.Unknown(true)
	if err := resolveCables(line, sections, catalogue); err != nil {
		return nil, err
	}
	line.Notes = root.Oddities()
	return line, nil
}

func lineCables(t *tables.Table, line *Line) {
	seen := map[string]bool{}
	for _, row := range t.Tables("cable") {
		cable := cableIn(row, true)
		if seen[cable.ID] {
			row.Wrong("id", "cable %q is defined twice; give each its own id", cable.ID)
		}
		seen[cable.ID] = true
		line.Cables = append(line.Cables, cable)
	}
}

func lineSections(t *tables.Table, line *Line) []*tables.Table {
	rows := t.Tables("section")
	seen := map[string]bool{}
	for _, row := range rows {
		s := Section{Name: row.Text("name"), CableID: row.Text("cable"), LengthM: row.Number("length_m")}
		row.Unknown(true)
		switch {
		case strings.TrimSpace(s.Name) == "":
			row.Wrong("name", "this section has no name; give it one, such as name = \"feeder\"")
		case seen[s.Name]:
			row.Wrong("name", "section %q exists twice; give each section its own name", s.Name)
		}
		seen[s.Name] = true
		switch {
		case !row.Has("length_m"):
			row.Wrong("length_m", "section %q has no length; give length_m in metres", s.Name)
		case s.LengthM <= 0:
			row.Wrong("length_m", "section %q: a length of %g m is not positive; give metres, measured or from the drawing", s.Name, s.LengthM)
		case s.LengthM > longestSectionM:
			row.Wrong("length_m", "section %q: a length of %g m is above %g m; give metres, not millimetres", s.Name, s.LengthM, longestSectionM)
		}
		line.Sections = append(line.Sections, s)
	}
	if len(rows) == 0 {
		t.Wrong("section", "%v; add a [[section]] with name, cable and length_m", ErrNoSections)
	}
	return rows
}

// returnLoss reads a return loss; 0 or absent is not stated.
func returnLoss(t *tables.Table, key string) float64 {
	db := t.Number(key)
	switch {
	case db < 0:
		t.Wrong(key, "%s %g is negative; return loss is a positive number of dB, such as 20", key, db)
	case db > 100:
		t.Wrong(key, "%s %g dB is better than anything made; give dB, such as 20", key, db)
	}
	return db
}

func lineDevices(t *tables.Table, line *Line) {
	for _, row := range t.Tables("device") {
		d := Device{
			After: row.Text("after"), Kind: row.Text("kind"), LengthM: row.Number("length_m"),
			ReturnLossDB: returnLoss(row, "return_loss_db"), PassbandHz: row.Band("passband_hz"),
		}
		row.Unknown(true)
		if strings.TrimSpace(d.Kind) == "" {
			row.Wrong("kind", "this device has no kind; say what it is, such as kind = \"surge-arrestor\"")
		}
		if line.sectionsNamed(d.After) == 0 {
			if len(line.Sections) > 0 {
				row.Wrong("after", "device %q comes after section %q, which does not exist; %s", d.Kind, d.After, nearestSection(line, d.After))
			}
		}
		if d.LengthM < 0 || d.LengthM > longestDeviceM {
			row.Wrong("length_m", "device %q: a length of %g m is outside 0 to %g m; give metres", d.Kind, d.LengthM, longestDeviceM)
		}
		line.Devices = append(line.Devices, d)
	}
}

func nearestSection(line *Line, name string) string {
	nearest, distance := "", 1<<30
	for _, s := range line.Sections {
		if d := tables.EditDistance(strings.ToLower(name), strings.ToLower(s.Name)); d < distance {
			nearest, distance = s.Name, d
		}
	}
	return fmt.Sprintf("name a section such as %q", nearest)
}

// lineEnd reads the load, the limits and the instrument.
func lineEnd(t *tables.Table, line *Line) {
	if load := t.Table("load"); load == nil {
		t.Odd("load", "nothing says what ends the line; add [load] with kind = \"antenna\", \"termination\", \"open\" or \"short\"")
	} else {
		line.Load = Load{Kind: LoadKind(load.Text("kind")), BandHz: load.Band("band_hz"), ReturnLossDB: returnLoss(load, "return_loss_db")}
		load.Unknown(true)
		switch line.Load.Kind {
		case Antenna, Termination, Open, Short:
		default:
			load.Wrong("kind", "load kind %q is unknown; write antenna, termination, open or short", line.Load.Kind)
		}
	}
	if limits := t.Table("limits"); limits != nil {
		line.Limits = Limits{VSWR: limits.Number("vswr"), ReturnLossDB: returnLoss(limits, "return_loss_db")}
		limits.Unknown(true)
		if v := line.Limits.VSWR; limits.Has("vswr") && !(v > 1 && v <= 1000) {
			limits.Wrong("vswr", "a VSWR limit of %g is not above 1; give a ratio such as 1.5, or return_loss_db in dB", v)
		}
		if limits.Has("vswr") && limits.Has("return_loss_db") {
			limits.Wrong("return_loss_db", "the limit is given twice, as VSWR and as return loss; keep one")
		}
	}
	if instrument := t.Table("instrument"); instrument != nil {
		line.Instrument.MostPoints = instrument.Integer("most_points")
		instrument.Unknown(true)
		if n := line.Instrument.MostPoints; instrument.Has("most_points") && (n < 2 || n > 10_000_000) {
			instrument.Wrong("most_points", "most_points %d is outside 2 to 10000000", n)
		}
	}
}

// resolveCables adds the cables that sections name and the file does not
// define. The catalogue is loaded only when it is needed; its error is
// returned.
func resolveCables(line *Line, sections []*tables.Table, load func() (*Catalogue, error)) error {
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
			section.Wrong("cable", "section %q names no cable; give cable = the id of a [[cable]] or of the catalogue", line.Sections[i].Name)
			continue
		}
		if !loaded {
			var err error
			if catalogue, err = load(); err != nil {
				where, _ := section.Place(section.PathOf("cable"))
				return &FileError{File: section.File(), Line: where.Line, Column: where.Column,
					Err: fmt.Errorf("cable %q is not defined in this file, and the catalogue cannot be read: %w", id, err)}
			}
			loaded = true
		}
		cable, found := catalogue.Find(id)
		if !found {
			section.Wrong("cable", "cable %q is neither defined in this file nor in the catalogue%s; add a [[cable]] with this id", id, catalogue.suggest(id))
			continue
		}
		for _, r := range cable.unusable() {
			section.Wrong("cable", "cable %q of the catalogue cannot be used: %s", id, r.text)
		}
		cable.ID = id // as the section spells it
		defined[id] = true
		line.Cables = append(line.Cables, cable)
		for _, r := range cable.odd() {
			section.Odd("cable", "cable %q of the catalogue: %s", id, r.text)
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
			if tables.EditDistance(fold(id), fold(c.types[i].ID)) <= 1 {
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
	var out tables.Writer
	encodeLine(&out, line)
	var none *Catalogue
	if _, err := none.DecodeLine("line to be written", strings.NewReader(out.String())); err != nil {
		return err
	}
	_, err := io.WriteString(w, out.String())
	return err
}

// EncodeLineIn writes the line into a larger file, as a table of this name with
// the keys of a line file; see EncodeLine. also writes further keys of the table.
func EncodeLineIn(w *tables.Writer, name string, line *Line, also func()) error {
	if err := EncodeLine(io.Discard, line); err != nil {
		return err
	}
	w.Table(name)
	also()
	under := w.Under
	w.Under += name + "."
	encodeLine(w, line)
	w.Under = under
	return nil
}

func encodeLine(out *tables.Writer, line *Line) {
	out.Key("name", tables.FormatText(line.Name))
	out.Number("reference_impedance_ohm", line.ReferenceImpedanceOhm)
	for i := range line.Cables {
		writeCable(out, &line.Cables[i])
	}
	for _, s := range line.Sections {
		out.Entry("section")
		out.Key("name", tables.FormatText(s.Name))
		out.Key("cable", tables.FormatText(s.CableID))
		out.Key("length_m", tables.FormatNumber(s.LengthM))
	}
	for _, d := range line.Devices {
		out.Entry("device")
		out.Key("after", tables.FormatText(d.After))
		out.Key("kind", tables.FormatText(d.Kind))
		out.Number("length_m", d.LengthM)
		out.Number("return_loss_db", d.ReturnLossDB)
		out.Band("passband_hz", d.PassbandHz)
	}
	if line.Load != (Load{}) {
		out.Table("load")
		out.Key("kind", tables.FormatText(string(line.Load.Kind)))
		out.Band("band_hz", line.Load.BandHz)
		out.Number("return_loss_db", line.Load.ReturnLossDB)
	}
	if line.Limits != (Limits{}) {
		out.Table("limits")
		out.Number("vswr", line.Limits.VSWR)
		out.Number("return_loss_db", line.Limits.ReturnLossDB)
	}
	if line.Instrument != (Instrument{}) {
		out.Table("instrument")
		out.Key("most_points", fmt.Sprint(line.Instrument.MostPoints))
	}
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
