// Package blind makes exercises in finding faults: a line with faults that
// somebody does not know, marks set by them, and a score. It draws nothing.
//
// # A case
//
// New draws a line with simulate.Draw from a seed and a level of difficulty, and
// keeps it when it is fair. The same seed and level give the same case.
//
//	level  lines                         faults
//	1      ordinary                      one, strong, a good instrument
//	2      ordinary                      one or none
//	3      ordinary                      one, weaker, or none
//	4      ordinary                      two, one or none
//	5      any, short ones too           two, one or none, weak, a poor instrument
//
// Fair means, for every fault: the sweep can show it (simulate.FaultTruth.Detectable,
// with a detection index of 20 dB, ten standard deviations, and 16 dB on level 5; of
// wet cable its own reflection), the line lies well inside the alias-free
// range, a fault inside a cable is what a cable can have and stands a cell and a
// half from its ends, and a stretch is longer than two cells unless it is a
// dent. Pairs that one port hardly tells apart are not drawn, or either is
// accepted: see Fault.Alike.
//
// # The score
//
// A mark belongs to the nearest fault within Reach of it. Of 100 points for a
// fault, 50 are for the place: all within one resolution cell (or 0.2 m, or 1 %
// of the distance, if that is more), none at four times that, in
// proportion between; anywhere on the stretch counts as the place. 50 are for the
// cause, one that looks alike included. The case's score is the mean over its
// faults, less 25 for each mark that belongs to none, not below 0. A line without
// a fault scores 100 without marks, and 25 less for each. Common practice, no
// source.
//
// # The record
//
// Append adds a result to a CSV file of the user's choice: the time, the name that
// was typed, level, seed, score and what it is made of. Nothing else about a person
// is kept.
//
// # How a window uses it
//
//	c, err := blind.New(ctx, seed, level)   in the background: a second or two
//	c.Sweep, c.Line, c.CellM                to be shown
//	c.Score([]blind.Mark{{31.4, diagnose.PoorContact}})
//	c.Faults()                              only after that
//	blind.Append(path, blind.RowOf(name, time.Now(), c, result))
//
// SI units; distances in metres from the test port.
package blind
