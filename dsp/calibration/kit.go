package calibration

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"github.com/BurntSushi/toml"
)

const (
	defaultOhm = 50.0
	// kitFileLimit bounds what is read: a kit file has some twenty lines.
	kitFileLimit = 1 << 20
)

// Kit defines a set of calibration standards.
type Kit struct {
	Name  string
	Open  Open
	Short Short
	Load  Load
	// TemperatureC is the temperature the definitions hold at; it counts
	// only when TemperatureKnown is set.
	TemperatureC     float64
	TemperatureKnown bool
	// Ideal says that nobody defined these standards: see [IdealKit].
	Ideal bool
}

// IdealKit is the kit taken when none is given: a perfect open, short and
// load at the reference plane. Real standards turn the phase by tens of
// degrees above 1 GHz, so [Solve] notes it.
func IdealKit(referenceOhm float64) *Kit {
	return &Kit{Name: "ideal standards", Load: Load{ResistanceOhm: referenceOhm}, Ideal: true}
}

// KitError says where and why a kit file cannot be used.
type KitError struct {
	File string
	Line int // 1-based; 0 when the whole file is meant
	Err  error
}

func (e *KitError) Error() string {
	if e.Line == 0 {
		return fmt.Sprintf("%s: %v", e.File, e.Err)
	}
	return fmt.Sprintf("%s:%d: %v", e.File, e.Line, e.Err)
}

func (e *KitError) Unwrap() error { return e.Err }

// ReadKit reads a kit file; see [DecodeKit].
func ReadKit(path string) (*Kit, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("reading kit: %w", err)
	}
	defer f.Close()
	return DecodeKit(path, f)
}

// DecodeKit reads the definitions of the standards as TOML:
//
//	name = "..."            # optional
//	temperature_c = 23.0    # optional
//	[open]                  # c0..c3 in F, F/Hz, F/Hz², F/Hz³; 0 when absent
//	c0 = 49.4e-15
//	delay_ps = 29.2         # one way; 0 when absent
//	z0 = 50.0               # ohm; 50 when absent
//	loss = 1.3              # Gohm/s at 1 GHz; 0 when absent
//	[short]                 # l0..l3 in H, H/Hz, H/Hz², H/Hz³, and the offset
//	[load]                  # resistance (ohm) is required; inductance (H), offset
//
// A key it does not know is an error, since a misspelt coefficient would
// otherwise count as zero. Errors are a *[KitError] naming file and line.
func DecodeKit(name string, r io.Reader) (*Kit, error) {
	text, err := io.ReadAll(io.LimitReader(r, kitFileLimit+1))
	if err != nil {
		return nil, fmt.Errorf("reading kit %s: %w", name, err)
	}
	if len(text) > kitFileLimit {
		return nil, &KitError{File: name, Err: errors.New("larger than 1 MB, so not a kit file: give the TOML file with [open], [short] and [load]")}
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))

	var file struct {
		Name        string     `toml:"name"`
		Temperature *float64   `toml:"temperature_c"`
		Open        *openFile  `toml:"open"`
		Short       *shortFile `toml:"short"`
		Load        *loadFile  `toml:"load"`
	}
	meta, err := toml.Decode(string(text), &file)
	if err != nil {
		var parse toml.ParseError
		if errors.As(err, &parse) {
			return nil, &KitError{name, parse.Position.Line, fmt.Errorf("%s; write a kit as in the documentation: [open], [short], [load] with key = number", parse.Message)}
		}
		return nil, typeError(name, err)
	}
	at := func(key, format string, args ...any) error {
		return &KitError{name, lineOf(text, key), fmt.Errorf(format, args...)}
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		key := unknown[0].String()
		return nil, at(key, "unknown key %q; the keys are name, temperature_c, open and short (c0..c3, l0..l3), load (resistance, inductance), and delay_ps, z0, loss in each", key)
	}
	for _, section := range []struct {
		name    string
		present bool
	}{{"open", file.Open != nil}, {"short", file.Short != nil}, {"load", file.Load != nil}} {
		if !section.present {
			return nil, &KitError{File: name, Err: fmt.Errorf("no [%s] section; add it, or calibrate without a kit to assume ideal standards", section.name)}
		}
	}

	kit := &Kit{
		Name: file.Name,
		Open: Open{
			CapacitanceF: [4]float64{file.Open.C0, file.Open.C1, file.Open.C2, file.Open.C3},
			Offset:       file.Open.offset(),
		},
		Short: Short{
			InductanceH: [4]float64{file.Short.L0, file.Short.L1, file.Short.L2, file.Short.L3},
			Offset:      file.Short.offset(),
		},
		Load: Load{ResistanceOhm: file.Load.Resistance, InductanceH: file.Load.Inductance, Offset: file.Load.offset()},
	}
	if file.Temperature != nil {
		kit.TemperatureC, kit.TemperatureKnown = *file.Temperature, true
	}
	if !meta.IsDefined("load", "resistance") {
		return nil, at("load", "load has no resistance; add resistance = 50.0 (ohm)")
	}

	ranges := []valueRange{
		{"temperature_c", kit.TemperatureC, -60, 100, "°C"},
		{"load.resistance", kit.Load.ResistanceOhm, 1, 1000, "ohm"},
		{"load.inductance", kit.Load.InductanceH, -1e-6, 1e-6, "H (picohenry are 1e-12)"},
	}
	// The widest bounds any kit needs: they catch a unit written as another
	// (fF for F), and keep every formula finite.
	for i, scale := range []float64{1, 1e-9, 1e-18, 1e-27} {
		ranges = append(ranges,
			valueRange{fmt.Sprintf("open.c%d", i), kit.Open.CapacitanceF[i], -1e-9 * scale, 1e-9 * scale, fmt.Sprintf("F/Hz^%d (femtofarad are 1e-15)", i)},
			valueRange{fmt.Sprintf("short.l%d", i), kit.Short.InductanceH[i], -1e-6 * scale, 1e-6 * scale, fmt.Sprintf("H/Hz^%d (picohenry are 1e-12)", i)})
	}
	for _, s := range []struct {
		name string
		offsetFile
	}{{"open", file.Open.offsetFile}, {"short", file.Short.offsetFile}, {"load", file.Load.offsetFile}} {
		ranges = append(ranges,
			valueRange{s.name + ".delay_ps", s.DelayPS, 0, 1e4, "ps, one way"},
			valueRange{s.name + ".loss", s.Loss, 0, 1000, "Gohm/s at 1 GHz"})
		if meta.IsDefined(s.name, "z0") {
			ranges = append(ranges, valueRange{s.name + ".z0", s.Z0, 1, 1000, "ohm"})
		}
	}
	for _, v := range ranges {
		// Written so that NaN fails too.
		if !(v.value >= v.low && v.value <= v.high) {
			return nil, at(v.key, "%s = %g is out of range; it is in %s, from %g to %g", v.key, v.value, v.unit, v.low, v.high)
		}
	}
	return kit, nil
}

// typeError places a value of the wrong type, whose line the decoder gives
// only in its text.
func typeError(name string, err error) error {
	text := strings.TrimPrefix(err.Error(), "toml: ")
	var line int
	if n, _ := fmt.Sscanf(text, "line %d ", &line); n == 1 {
		text = strings.TrimPrefix(text, fmt.Sprintf("line %d ", line))
	}
	return &KitError{name, line, fmt.Errorf("%s; write numbers without quotes or units, like c0 = 49.4e-15", text)}
}

type valueRange struct {
	key              string
	value, low, high float64
	unit             string
}

type offsetFile struct {
	DelayPS float64 `toml:"delay_ps"`
	Z0      float64 `toml:"z0"`
	Loss    float64 `toml:"loss"`
}

func (o offsetFile) offset() Offset {
	return Offset{DelayS: o.DelayPS * 1e-12, ImpedanceOhm: o.Z0, LossOhmPerS: o.Loss * 1e9}
}

type openFile struct {
	C0, C1, C2, C3 float64
	offsetFile
}

type shortFile struct {
	L0, L1, L2, L3 float64
	offsetFile
}

type loadFile struct {
	Resistance, Inductance float64
	offsetFile
}

// lineOf finds the line of a dotted key ("open.c0") in TOML written with
// section heads, the form of every kit file; 0 when it is written otherwise.
func lineOf(text []byte, key string) int {
	section, leaf, nested := strings.Cut(key, ".")
	if !nested {
		section, leaf = "", key
	}
	current, head := "", 0
	for i, line := range strings.Split(string(text), "\n") {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "[") {
			current = strings.Trim(strings.TrimSpace(strings.SplitN(line, "]", 2)[0]), "[ \t")
			if current == section || current == key {
				head = i + 1
			}
			continue
		}
		word, _, found := strings.Cut(line, "=")
		if found && current == section && strings.Trim(strings.TrimSpace(word), `"'`) == leaf {
			return i + 1
		}
	}
	return head
}

// finite reports whether z is a number.
func finite(z complex128) bool {
	return !math.IsNaN(real(z)) && !math.IsNaN(imag(z)) && !math.IsInf(real(z), 0) && !math.IsInf(imag(z), 0)
}
