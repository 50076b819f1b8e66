package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"downlead/dsp"
	"downlead/dsp/diagnose"
)

const metresPerFoot = 0.3048 // exact, international foot

// Scale writes lengths in the reader's unit.
type Scale struct {
	Unit   string
	Metres float64 // of one unit
}

// InMetres and InFeet return the two scales.
func InMetres() Scale { return Scale{"m", 1} }

// InFeet returns the scale in international feet.
func InFeet() Scale { return Scale{"ft", metresPerFoot} }

// Number writes a length to the hundredth, without its unit.
func (s Scale) Number(m float64) string { return fmt.Sprintf("%.2f", m/s.Metres) }

// Text writes a length with its unit.
func (s Scale) Text(m float64) string { return s.Number(m) + " " + s.Unit }

// sigma writes a standard deviation, never as 0.00.
func (s Scale) sigma(m float64) string {
	if m/s.Metres < 0.005 {
		return "0.01"
	}
	return s.Number(m)
}

// Uncertain writes a length with its standard deviation, to the hundredth but
// never as ± 0.00; without one when sigmaM is 0.
func (s Scale) Uncertain(m, sigmaM float64) string {
	if sigmaM == 0 {
		return s.Text(m)
	}
	return fmt.Sprintf("%s ± %s %s", s.Number(m), s.sigma(sigmaM), s.Unit)
}

// Place writes where a finding is: one distance, or from where to where.
func (s Scale) Place(f diagnose.Finding) string {
	if f.ExtentM > 0 {
		return fmt.Sprintf("%s to %s", s.Number(f.DistanceM), s.Uncertain(f.DistanceM+f.ExtentM, f.SigmaM))
	}
	return s.Uncertain(f.DistanceM, f.SigmaM)
}

// Frequency writes a frequency in the unit that suits it, to a thousandth.
func Frequency(hz float64) string {
	name, size := "Hz", 1.0
	for _, u := range []struct {
		name string
		size float64
	}{{"GHz", 10e9}, {"MHz", 1e6}, {"kHz", 1e3}} { // the trade says 1842 MHz, not 1.842 GHz
		if math.Abs(hz) >= u.size {
			name, size = u.name, math.Min(u.size, 1e9)
			break
		}
	}
	return strconv.FormatFloat(math.Round(hz/size*1000)/1000, 'f', -1, 64) + " " + name
}

// VSWR writes a standing wave ratio with its name.
func VSWR(v float64) string {
	switch {
	case v >= 9999:
		return "total reflection"
	case v > 100:
		return "VSWR over 100"
	}
	return fmt.Sprintf("VSWR %.2f", v)
}

// Percent writes a share.
func Percent(x float64) string {
	if x > 0 && x < 0.005 {
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*x)
}

// Window writes a window with its parameter, where it has one.
func Window(w dsp.Window) string {
	if w.Parameter == 0 {
		return w.Kind.String()
	}
	return fmt.Sprintf("%v:%g", w.Kind, w.Parameter)
}

// FrequencyRuns names frequencies, neighbours on the grid as a range, at most
// most of the runs and how many more there are.
func FrequencyRuns(hz, grid []float64, most int) string {
	var words []string
	runs, k := 0, 0
	for i := 0; i < len(hz); runs++ {
		for k < len(grid) && grid[k] < hz[i] {
			k++
		}
		first := i
		for i++; i < len(hz) && k+1 < len(grid) && hz[i] == grid[k+1]; i++ {
			k++
		}
		text := Frequency(hz[first])
		if i-first > 1 {
			text += " to " + Frequency(hz[i-1])
		}
		if runs < most {
			words = append(words, text)
		}
	}
	if runs > most {
		words = append(words, fmt.Sprintf("and %d more", runs-most))
	}
	return strings.Join(words, ", ")
}
