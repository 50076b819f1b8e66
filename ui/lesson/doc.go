// Package lesson holds lessons on finding faults: what to read, what to look at,
// and questions whose answers are worked out by the program itself on the
// lesson's own line. It draws nothing.
//
// # The file
//
// A lesson is a TOML file:
//
//	schema = "downlead/lesson/1"
//	title, summary        text, one line each
//	minutes               how long it takes, 1 to 240
//	text                  what it is about
//	sources               list of text: where its formulas come from, or "common practice, no source"
//	hands_on              true where the lesson sends hands to the line: the cautions are shown
//	cautions              list of text: further cautions of its own
//	[scenario]            a scenario of package simulate, each table under scenario:
//	                      [scenario.sweep], [[scenario.fault]], [scenario.line],
//	                      [[scenario.line.section]], [scenario.instrument] ...
//	[[step]]              title, text, hands_on, and
//	[step.show]           what the window shows, see below
//	[[step.see]]          text, value (a formula), unit, decimals: a number to look for
//	[[question]]          after (number of the step before it; 0: after the last), text, because,
//	                      kind, answer, unit, tolerance, and
//	[[question.option]]   text, when (a formula): of a choice
//	[question.show]       as that of a step; without it that of the step before holds
//	[[check]]             that (a formula): must hold, or the lesson is refused
//
// Only schema, title, scenario and one step must be there. Unknown keys are
// refused, with the nearest known one.
//
// What is shown: sweep (measured, earlier, raw), over (return-loss, vswr, phase,
// smith, impedance, cable-loss, group-delay), along (return-loss, vswr,
// magnitude, impedance), zoom_hz, zoom_m, band_hz (the part of the sweep that is
// used), every_nth, window, window_parameter, window_terms, velocity_factor (of
// every cable, in place of the record's), overlays (model, earlier, limit,
// expected, ghosts, lattice), against_earlier (findings compare with the earlier
// sweep), locked (the window's sliders cannot be turned at this step; without it they
// can, to try things, and answers are still judged by what the lesson shows). All may be
// left out.
//
// # Questions
//
//	kind    answer            what is right
//	number  formula           within tolerance (formula or number) in the unit
//	place   formula, metres   within tolerance; the unit is metres
//	cause   formula, a cause  that, or one that the scenario cannot tell from it
//	choice  -                 the option whose formula "when" is true, of which there must be one
//
// A plain number as tolerance is in the question's unit, a formula in SI units.
//
// # Formulas
//
// Numbers, texts in double quotes, + - * /, comparison (< <= > >= == !=), and, or,
// not, brackets, and quantities, which the engine works out on the lesson's line
// as it is shown: Quantities lists them. In a text, {formula|decimals unit} stands
// for its value: {verdict.worst_vswr|2}, {finding[1].distance_m|2 m},
// {cell_m|2 m}. Quantities are in SI units; a unit of a text, sight or question
// converts: m, cm, mm, MHz, GHz, ns, %, dB, ohm and others (Units). A double brace
// is a brace.
//
// # How a window uses it
//
//	all, err := lesson.Embedded()               or lesson.Read(path)
//	b, err := lesson.Open(ctx, all[0])          sweeps the line
//	s, err := b.Scene(&l.Steps[i].Show)         what is shown: s.Sweep, s.Line, s.Path, s.Show
//	s.Fill(ctx, step.Text), s.Value(ctx, &see.Value), s.Write(...)
//	b.GivenAway(ctx, i, &see)                   the questions that a number must not answer
//	for _, k := range l.QuestionsAfter(i) { outcome, err := b.Answer(ctx, k, given) }
//
// Fill, Value, Answer and Check may run the diagnosis, which takes a second or
// more: in the background, one goroutine at a time. An answer that cannot be read
// is an *UnreadableError, to be asked for again.
//
// # Limits
//
// A file is at most 256 kB and its strings as long as that leaves room for; a
// formula 400 bytes; 60 steps, 60 questions, 12 options. The scenario's points and
// length are bounded by package simulate, and here to 4001 points.
//
// SI units, positions in metres from the test port, frequencies in hertz.
package lesson
