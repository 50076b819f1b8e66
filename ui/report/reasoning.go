package report

import (
	"fmt"
	"slices"
	"strings"
)

// reasoning is how each finding came about, for a reader who wants to know more
// than what was found.
func (b *book) reasoning(s *sheet) {
	explained := slices.DeleteFunc(slices.Concat(b.found.Faults, b.found.Built), func(f Labelled) bool { return len(f.Explanation) == 0 })
	if len(explained)+len(b.found.Ghosts) == 0 {
		return
	}
	s.chapter("How each finding was reached", 8*bodyLeading)
	for _, f := range explained {
		b.steps(s, f)
	}
	b.ghostTable(s)
}

// steps are the numbered sentences of a finding's explanation.
func (b *book) steps(s *sheet, f Labelled) {
	s.need(6 * bodyLeading)
	s.rule(s.left(), s.right(), s.y)
	s.skip(grid / 2)
	strong := written{strong: true, color: s.colours.Ink}
	x := s.left() + 2.5*grid
	if f.IsFault {
		x = max(x, s.left()+s.flag(s.left(), s.y, f.Label)+grid/2)
	} else {
		s.put(s.left(), s.y+bodySize+1, f.Label, strong)
	}
	for _, row := range s.atMost(2, upper(b.builtAs(&f.Finding))+", "+b.scale.Place(f.Finding), s.right()-x, strong) {
		s.text(x, s.right()-x, row, strong)
	}
	s.skip(grid / 4)
	for _, sentence := range f.Explanation {
		sign, text, numbered := strings.Cut(sentence, ". ")
		if !numbered {
			sign, text = "–", sentence
		}
		s.item(sign, 2*grid, text, func() {})
	}
	s.skip(grid / 2)
}

// ghostTable is what is not where it seems to be.
func (b *book) ghostTable(s *sheet) {
	if len(b.found.Ghosts) == 0 {
		return
	}
	s.heading("Ghosts: echoes of echoes; nothing is where they seem to be", 4*bodyLeading)
	var rows [][]cell
	for _, f := range b.found.Ghosts {
		text := "waves that bounce more than once"
		if len(f.GhostOf) == 2 {
			text = fmt.Sprintf("bounces between %s and %s", b.found.Named(f.GhostOf[0], b.scale), b.found.Named(f.GhostOf[1], b.scale))
		}
		rows = append(rows, []cell{{text: f.Label, strong: true}, {text: text}, {text: b.placeAndExtent(&f.Finding)}, {text: size(&f.Finding)}, {text: phase(&f.Finding)}, {text: Percent(f.Confidence)}})
	}
	s.table([]column{{width: 3 * grid, fixed: true}, {title: "what", width: 1}, {title: "seems to be at", width: mostPlace, fixed: true},
		{title: "size", width: 6 * grid, fixed: true, right: true}, {title: "phase", width: 6 * grid, fixed: true, right: true}, {title: "sure", width: 6 * grid, fixed: true, right: true}}, rows)
	s.skip(grid / 2)
	s.text(s.left(), s.inner(), "Each goes when either of the two places that make it does.", written{color: s.colours.Quiet})
}
