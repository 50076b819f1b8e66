package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"downlead/cables"
)

// cablesVerb searches the catalogue, or checks one of the user's own.
func cablesVerb(_ context.Context, words []string, out output) (int, error) {
	var check string
	at := []float64{100e6, 1000e6, 2000e6}
	o := options{verb: "cables", operands: "[WORDS]",
		about: "Lists the cable types that every word fits, by id, name, size or impedance.\nWithout words it lists them all; one type alone is shown in full.",
		list: []option{
			{"at", "FREQUENCY", "show the loss at this frequency only", func(s string) error {
				f, err := parseFrequency(s)
				at = []float64{f}
				return err
			}},
			{"check", "FILE", "check a catalogue of your own and say what is odd (exit status 1)", toText(&check)},
		}}
	search, done, err := o.takeAny(words, out)
	if done || err != nil {
		return statusPasses, err
	}
	if check != "" {
		if len(search) > 0 {
			return 0, errors.New("--check takes no search words")
		}
		return checkCatalogue(check, out.stdout)
	}
	catalogue, err := cables.LoadCatalogue()
	if err != nil {
		return 0, err
	}
	found := catalogue.Search(search...)
	switch len(found) {
	case 0:
		return 0, fmt.Errorf("no cable fits %q; fewer words find more", strings.Join(search, " "))
	case 1:
		return statusPasses, writeCable(out.stdout, &found[0])
	}
	return statusPasses, writeCables(out.stdout, found, at)
}

func checkCatalogue(path string, stdout io.Writer) (int, error) {
	file, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer file.Close()
	catalogue, err := cables.ReadCatalogue(path, file)
	if err != nil {
		return 0, err
	}
	types := len(catalogue.Search())
	odd := catalogue.Check()
	for _, text := range odd {
		fmt.Fprintln(stdout, text)
	}
	if len(odd) > 0 {
		fmt.Fprintf(stdout, "%s: %d cable types, %d values odd\n", path, types, len(odd))
		return statusFault, nil
	}
	fmt.Fprintf(stdout, "%s: %d cable types, nothing odd\n", path, types)
	return statusPasses, nil
}

// writeCables writes a table: one row a type, its loss at the frequencies given.
func writeCables(w io.Writer, types []cables.Type, atHz []float64) error {
	idColumns, nameColumns := 2, 4
	for _, t := range types {
		idColumns = max(idColumns, utf8.RuneCountInString(t.ID))
		nameColumns = max(nameColumns, utf8.RuneCountInString(t.Name))
	}
	var b strings.Builder
	head := fmt.Sprintf("%-*s  %-*s  %5s  %5s", idColumns, "id", nameColumns, "name", "ohm", "VF")
	for _, f := range atHz {
		head += fmt.Sprintf("  %9s", frequencyText(f))
	}
	fmt.Fprintln(&b, head)
	for i := range types {
		t := &types[i]
		fmt.Fprintf(&b, "%-*s  %-*s  %5g  %5.3f", idColumns, t.ID, nameColumns, t.Name, t.ImpedanceOhm, t.VelocityFactor)
		for _, f := range atHz {
			fmt.Fprintf(&b, "  %9s", lossText(t, f))
		}
		fmt.Fprintln(&b)
	}
	fmt.Fprintf(&b, "%d types; loss in dB/100 m; - beyond the cable's upper frequency or not known\n", len(types))
	_, err := io.WriteString(w, b.String())
	return err
}

// lossText writes the cable's loss at a frequency by its fitted law.
func lossText(t *cables.Type, hz float64) string {
	medium, err := t.Medium()
	if err != nil || len(t.Attenuation) == 0 || t.MaxFrequencyHz > 0 && hz > t.MaxFrequencyHz {
		return "-"
	}
	return fmt.Sprintf("%.2f", 100*medium.AttenuationNp(hz)/cables.NeperPerDB)
}

// writeCable writes all that the catalogue knows of one type.
func writeCable(w io.Writer, t *cables.Type) error {
	p := &page{}
	p.row(t.ID + "  " + t.Name)
	p.row(fmt.Sprintf("  impedance         %g ohm", t.ImpedanceOhm))
	p.row(fmt.Sprintf("  velocity factor   %g ± %g", t.VelocityFactor, t.VelocityFactorTolerance))
	if t.DiameterMM > 0 {
		p.row(fmt.Sprintf("  diameter          %g mm", t.DiameterMM))
	}
	if t.MaxFrequencyHz > 0 {
		p.row("  upper frequency   " + frequencyText(t.MaxFrequencyHz))
	}
	label := "  attenuation       "
	for _, a := range t.Attenuation {
		p.row(fmt.Sprintf("%s%8s  %6.2f dB/100 m, by the fitted law %6s", label, frequencyText(a.FrequencyHz), a.DBPerHundredM, lossText(t, a.FrequencyHz)))
		label = strings.Repeat(" ", len(label))
	}
	if t.Source != "" {
		p.text("  source            ", t.Source)
	}
	_, err := io.WriteString(w, p.String())
	return err
}
