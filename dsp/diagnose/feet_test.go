package diagnose

import "testing"

func TestInFeet(t *testing.T) {
	for metres, want := range map[string]string{
		"The finding must stay at 50.00 ± 0.18 m.":                "The finding must stay at 164.04 ± 0.59 ft.",
		"from 3.048 m over 30.48 m, as uneven wetting does":       "from 10.000 ft over 100.00 ft, as uneven wetting does",
		"comes from −2.0 ± 0.3 m in front":                        "comes from −6.6 ± 1.0 ft in front",
		"64.9 dB/100 m at 1 GHz, 3 m away":                        "64.9 dB/100 m at 1 GHz, 10 ft away",
		"5.7 ± 0.3 mS, 25 MHz, 2 mm, 14 ± 2 ohm":                  "5.7 ± 0.3 mS, 25 MHz, 2 mm, 14 ± 2 ohm",
		"m without a number":                                      "m without a number",
		"cable of velocity factor VF would be 1.50 ± 0.10 m × VF": "cable of velocity factor VF would be 4.92 ± 0.33 ft × VF",
		"1e9999 m": "1e9999 m",
	} {
		if got := InFeet(metres); got != want {
			t.Errorf("%q in feet is %q, want %q", metres, got, want)
		}
	}
}
