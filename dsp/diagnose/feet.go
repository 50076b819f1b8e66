package diagnose

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// metrePerFoot is the international foot (Refinement of values for the yard and
// the pound, US National Bureau of Standards, 1959).
const metrePerFoot = 0.3048

// lengths matches a number, or one with its uncertainty, before the metre.
var lengths = regexp.MustCompile(`([-−+]?)([0-9]+)(\.[0-9]+)?( ± )?([0-9]+)?(\.[0-9]+)? m\b`)

// InFeet returns a sentence of a finding with its lengths in feet where they are
// in metres, to as many decimals. What is told per length stays as it is, since
// the trade gives attenuation per 100 m.
func InFeet(sentence string) string {
	var out strings.Builder
	from := 0
	for _, at := range lengths.FindAllStringSubmatchIndex(sentence, -1) {
		if (at[0] > 0 && partOfWord(sentence[at[0]-1])) || strings.HasPrefix(sentence[at[1]:], "/") || (at[8] < 0) != (at[10] < 0) {
			continue
		}
		out.WriteString(sentence[from:at[3]]) // as far as the sign
		out.WriteString(feet(sentence[at[4]:at[5]], at, 6, sentence))
		if at[8] >= 0 {
			out.WriteString(" ± ")
			out.WriteString(feet(sentence[at[10]:at[11]], at, 12, sentence))
		}
		out.WriteString(" ft")
		from = at[1]
	}
	out.WriteString(sentence[from:])
	return out.String()
}

// InFeet returns a copy of the findings whose sentences have their lengths in
// feet. The figures stay in metres, as the names of their fields say.
func (f *Findings) InFeet() *Findings {
	out := *f
	out.Findings = slices.Clone(f.Findings)
	all := []*[]string{&out.Warnings}
	for i := range out.Findings {
		one := &out.Findings[i]
		one.Place = InFeet(one.Place)
		all = append(all, &one.Evidence, &one.Checks, &one.TakeAlong, &one.Cautions, &one.Explanation)
	}
	for _, sentences := range all {
		*sentences = slices.Clone(*sentences)
		for i, sentence := range *sentences {
			(*sentences)[i] = InFeet(sentence)
		}
	}
	return &out
}

// partOfWord says whether what follows c is no number by itself.
func partOfWord(c byte) bool {
	return c == '/' || c == '.' || '0' <= c && c <= '9' || 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z'
}

// feet is a number of metres, whose decimals are the i-th group if any, in feet.
func feet(whole string, at []int, i int, sentence string) string {
	decimals := 0
	if at[i] >= 0 {
		whole += sentence[at[i]:at[i+1]]
		decimals = at[i+1] - at[i] - 1
	}
	m, _ := strconv.ParseFloat(whole, 64) // the pattern lets only numbers through
	return strconv.FormatFloat(m/metrePerFoot, 'f', decimals, 64)
}
