package simulate

import "downlead/cables"

// What an editor of scenarios asks about a fault before it is simulated.

// Stretches says whether faults of a cause have a length of their own; the others
// are points.
func Stretches(cause string) bool {
	f := Fault{Cause: cause}
	return f.stretch()
}

// Span returns where the fault begins and ends on the recorded line, m; a point
// begins where it ends. The error says why it cannot be there.
func (f Fault) Span(path *cables.Path) (fromM, toM float64, err error) { return f.span(path) }

// Typical returns the fault with every severity that it leaves at zero filled in as
// Run would; extentM is its length, m.
func (f Fault) Typical(extentM float64) Fault { return f.typical(extentM) }
