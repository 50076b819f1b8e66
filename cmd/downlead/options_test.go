package main

import (
	"errors"
	"math"
	"slices"
	"testing"
)

func testOptions(line *string, force *bool, reach *float64) *options {
	return &options{verb: "locate", operands: "SWEEP", about: "About.", list: []option{
		{"line", "FILE", "the line", toText(line)},
		{"force", "", "overwrite", toSwitch(force)},
		{"range", "LENGTH", "how far", toLength(reach)},
	}}
}

func TestOptionsInAnyOrder(t *testing.T) {
	for _, words := range [][]string{
		{"a.s1p", "--line", "site.toml", "--force", "b.s1p", "--range", "80m"},
		{"--range=80m", "--force", "--line=site.toml", "a.s1p", "b.s1p"},
		{"-force", "-line", "site.toml", "--range", "80 m", "--", "a.s1p", "b.s1p"},
	} {
		var line string
		var force bool
		var reach float64
		operands, err := testOptions(&line, &force, &reach).read(words)
		if err != nil || !slices.Equal(operands, []string{"a.s1p", "b.s1p"}) || line != "site.toml" || !force || reach != 80 {
			t.Errorf("%q: operands %q, line %q, force %v, range %g, error %v", words, operands, line, force, reach, err)
		}
	}
}

func TestOptionErrorsNameTheMend(t *testing.T) {
	for _, c := range []struct {
		words []string
		want  string
	}{
		{[]string{"--lime", "x"}, "locate has no option --lime; did you mean --line?"},
		{[]string{"--zebra"}, "locate has no option --zebra"},
		{[]string{"--line"}, "--line needs a value: --line FILE"},
		{[]string{"--force=yes"}, "--force takes no value"},
		{[]string{"--range", "80"}, `--range: "80" has no unit; write for example 0.3m or 1ft`},
		{[]string{"--range", "far"}, `--range: "far" is not understood; write for example 0.3m or 1ft`},
		{[]string{"--range", "-3m"}, `--range: "-3m" is not above zero`},
	} {
		var line string
		var force bool
		var reach float64
		if _, err := testOptions(&line, &force, &reach).read(c.words); err == nil || err.Error() != c.want {
			t.Errorf("%q: %v, want %s", c.words, err, c.want)
		}
	}
	if _, err := testOptions(new(string), new(bool), new(float64)).read([]string{"-h"}); !errors.Is(err, errHelp) {
		t.Errorf("-h: %v", err)
	}
}

func TestQuantities(t *testing.T) {
	near := func(got, want float64) bool { return math.Abs(got-want) <= 1e-12*math.Abs(want) }
	for text, want := range map[string]float64{"0.3m": 0.3, "30cm": 0.3, "1ft": 0.3048, "12 in": 0.3048, "5e1 M": 50, "3mm": 0.003} {
		if got, err := parseLength(text); err != nil || !near(got, want) {
			t.Errorf("%q: %g m, %v; want %g m", text, got, err, want)
		}
	}
	for text, want := range map[string]float64{"1710MHz": 1.71e9, "2.4 GHz": 2.4e9, "137khz": 137e3, "50Hz": 50} {
		if got, err := parseFrequency(text); err != nil || !near(got, want) {
			t.Errorf("%q: %g Hz, %v; want %g Hz", text, got, err, want)
		}
	}
	if low, high, err := parseBand("1710MHz..2.17GHz"); err != nil || !near(low, 1.71e9) || !near(high, 2.17e9) {
		t.Errorf("band %g to %g Hz, %v", low, high, err)
	}
	for text, want := range map[string]string{
		"1710MHz":          `"1710MHz" is not a band; write for example 1710MHz..2170MHz`,
		"2GHz..1GHz":       `"2GHz..1GHz" runs downward; write the lower frequency first`,
		"1710..2170MHz":    `"1710" has no unit; write for example 1710MHz`,
		"1710MHz..NaNMHz":  `"NaNMHz" is not above zero`,
		"1710MHz..InfMHz":  `"InfMHz" is not above zero`,
		"1710MHz..2170MPH": `"2170MPH" is not understood; write for example 1710MHz`,
	} {
		if _, _, err := parseBand(text); err == nil || err.Error() != want {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}

func TestQuantityTexts(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{frequencyText(1.842e9), "1842 MHz"},
		{frequencyText(12.5e9), "12.5 GHz"},
		{frequencyText(300e3), "300 kHz"},
		{frequencyText(0), "0 Hz"},
		{inMetres.uncertain(51.304, 0.081), "51.30 ± 0.08 m"},
		{inMetres.uncertain(51.304, 0.0004), "51.30 ± 0.01 m"},
		{inFeet.text(30.48), "100.00 ft"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

// FuzzQuantities holds what a user types to the promises of the parsers: a
// value is positive and finite, a band runs upward, a window can be computed.
func FuzzQuantities(f *testing.F) {
	for _, seed := range []string{"0.3m", "12 in", "1710MHz..2.17GHz", "..", "1e400m", "-0Hz", "taylor:40", "kaiser:NaN", "0x1p-2ft", "\xff m"} {
		f.Add(seed)
	}
	positive := func(v float64) bool { return v > 0 && !math.IsInf(v, 0) }
	f.Fuzz(func(t *testing.T, text string) {
		if m, err := parseLength(text); err == nil && !positive(m) {
			t.Errorf("%q is %g m", text, m)
		}
		if low, high, err := parseBand(text); err == nil && !(positive(low) && positive(high) && low < high) {
			t.Errorf("%q is %g to %g Hz", text, low, high)
		}
		if w, err := parseWindow(text); err == nil && w.Validate() != nil {
			t.Errorf("%q is an impossible window: %v", text, w.Validate())
		}
	})
}
