package diagnose

import (
	"fmt"
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/sweep"
)

// Cautions are what to keep to whenever a text suggests touching a line. Common
// practice, no source; local codes come first.
func Cautions() []string {
	return []string{
		"Switch the transmitter off and lock it out before anything is disconnected or measured.",
		"The line may carry direct current for amplifiers or controllers: make it dead and check that it is.",
		"Radio-frequency exposure: other antennas near the path of work may radiate; keep to the site's limits and distances.",
		"Work at height needs people trained and equipped for it; stay off the tower in wind, ice or a thunderstorm.",
		"Local codes, the site's rules and licensed practice come first. This report advises; it certifies nothing.",
	}
}

// tell fills in what the findings say to a technician beside the evidence:
// whether the sweep can be believed, distances from the far end, advice, and
// how the line masks its antenna. excessDB as in maskingWords, compared as in advise.
func tell(out *Findings, s *sweep.Sweep, line *cables.Line, path *cables.Path, fit *linemodel.Fit, excessDB float64, compared bool) {
	out.Calibration = calibrationWords(s)
	masking := maskingWords(s, line, fit, excessDB)
	out.Warnings = append(out.Warnings, masking...)
	for i := range out.Findings {
		f := &out.Findings[i]
		if line.Load.Kind != cables.Unstated {
			f.FromFarEndM = math.Max(0, path.LengthM()-f.DistanceM)
		}
		if f.Cause == AntennaFault && f.IsFault {
			f.Evidence = append(f.Evidence, masking...)
		}
		advise(f, line, path, compared)
	}
}

// spot is what kind of place a finding is at, as far as the record tells:
// sections are counted from the test port, which is taken to be the low end, and
// the longest one is the feeder.
type spot int

const (
	atPort   spot = iota // the connector at the test port
	atBottom             // a joint at the feeder's lower end or below
	inBottom             // in a section below the feeder
	inFeeder
	inTop  // in a section above the feeder
	atTop  // a joint at the feeder's upper end or above
	atLoad // the connector at the load
	inLoad // the antenna itself
)

// aloft says whether somebody may have to climb.
func (s spot) aloft() bool { return s >= inFeeder }

// whereabouts is the place of a finding by the record.
type whereabouts struct {
	spot   spot
	words  string          // "the joint feeder / top jumper"
	joint  bool            // at a connector
	spans  []*cables.Span  // on either side of a joint, or the one it is in
	device string          // the device beside it; empty: none
	jumper *cables.Span    // the short section that can be exchanged whole; nil: none
	load   cables.LoadKind // what ends the line
}

// reachM is how far from a joint of the record a finding may be and still be
// looked for there. Common practice, no source.
const reachM = 0.15

// jumperMostM is how long a section may be to be exchanged as a whole to see
// whether it is the one. Common practice, no source.
const jumperMostM = 6.0

// happensInConnectors says whether a cause belongs to a joint, wherever the
// sweep puts it.
func happensInConnectors(c Cause) bool {
	return c == PoorContact || c == ConnectorMismatch || c == WaterInConnector
}

// happensAlongCable says whether a cause belongs to a section, even near its
// end.
func happensAlongCable(c Cause) bool {
	return c == DentOrKink || c == WaterInCable || c == WrongImpedance || c == LossySection
}

// findPlace looks a finding up in the record.
func findPlace(f *Finding, line *cables.Line, path *cables.Path) whereabouts {
	w := whereabouts{load: line.Load.Kind}
	feeder := 0
	for i := range path.Spans {
		if s := &path.Spans[i]; s.Cable != nil && (path.Spans[feeder].Cable == nil || s.LengthM > path.Spans[feeder].LengthM) {
			feeder = i
		}
	}
	if f.Cause == AntennaFault {
		w.spot, w.words = inLoad, "the antenna"
		return w
	}
	joints := path.JointsM()
	near := 0
	for i, x := range joints {
		if math.Abs(x-f.DistanceM) < math.Abs(joints[near]-f.DistanceM) {
			near = i
		}
	}
	recorded := line.Load.Kind != cables.Unstated || len(path.Spans) > 1
	if reach := math.Max(reachM, 2*f.SigmaM); happensInConnectors(f.Cause) || !happensAlongCable(f.Cause) && recorded && math.Abs(joints[near]-f.DistanceM) <= reach {
		w.joint = true
		switch last := len(joints) - 1; {
		case near == 0:
			w.spot, w.words = atPort, "the connector at the test port"
			w.spans = []*cables.Span{&path.Spans[0]}
		case near == last:
			w.spot, w.words = atLoad, "the connector at the far end"
			if w.load == cables.Antenna || w.load == cables.Termination {
				w.words = "the connector at the " + string(w.load)
			}
			w.spans = []*cables.Span{&path.Spans[last-1]}
		default:
			before, behind := &path.Spans[near-1], &path.Spans[near]
			w.words = fmt.Sprintf("the joint %s / %s", before.Name, behind.Name)
			w.spans = []*cables.Span{before, behind}
			if w.spot = atBottom; near > feeder {
				w.spot = atTop
			}
		}
	} else {
		at := path.SpanAt(f.DistanceM + f.ExtentM/2)
		s := &path.Spans[at]
		w.spans, w.words = []*cables.Span{s}, fmt.Sprintf("the %s, %.2f m from its lower end", s.Name, math.Max(0, f.DistanceM-s.StartM))
		if f.Cause == LossySection || f.ExtentM > 0.9*s.LengthM {
			w.words = "the whole of the " + s.Name
		}
		switch {
		case at < feeder:
			w.spot = inBottom
		case at > feeder:
			w.spot = inTop
		default:
			w.spot = inFeeder
		}
		if first, last := path.SpanAt(f.DistanceM), path.SpanAt(f.DistanceM+f.ExtentM-1e-6); !f.Reflects() && first < last {
			w.spot, w.words, w.spans = inFeeder, "the cable", nil
			for i := first; i <= last; i++ {
				w.spans = append(w.spans, &path.Spans[i])
			}
		}
	}
	for _, s := range w.spans {
		if s.Device != nil {
			w.device = s.Name
		} else if s != &path.Spans[feeder] && s.LengthM <= jumperMostM {
			w.jumper = s
		}
	}
	return w
}

// advice is what to do about a cause, in words. Common practice of the trade
// throughout, no source.
type advice struct {
	sight   string   // what to look for without touching anything
	ground  []string // measurements at the test port alone that help to settle it
	settle  []string // measurements that need a hand at the place or at the far end
	at      []string // what to do at the place
	take    []string
	caution []string
}

const (
	tapTest    = "Sweep over and over while somebody taps and gently bends %s: a reflection that jumps is a loose contact, one that stays is not."
	sweepLower = "Sweep again down to the lowest frequency the line and the instrument allow: a resistance stays as it is there, an inductance, a capacitance or a bad fit vanishes in proportion to frequency."
	sweepWider = "Sweep a wider band: a resolution cell is c·VF/(2·bandwidth) long, and twice the band tells whether the place is at the joint or beside it."
	farShort   = "Repeat the sweep with a short, then with an open, at the far end in place of the %s: both come back whole, so they show the loss and the electrical length of the line, and a fault stays where it is."
	insulation = "With the line dead and its far end open, measure the resistance between its conductors: a dry line shows many megohms, water shows less. Grounded antennas, surge arrestors and amplifiers show less too: take them off first."
	loop       = "With the line dead and its far end shorted, measure the loop resistance: a sound feeder shows a fraction of an ohm to a few ohms, a bad contact adds its own."
)

// adviceFor is what to do about cause at w. x is the place in words.
func adviceFor(cause Cause, w *whereabouts, x string) advice {
	end := "load"
	if w.load == cables.Antenna || w.load == cables.Termination {
		end = string(w.load)
	}
	far := fmt.Sprintf(farShort, end)
	tap := fmt.Sprintf(tapTest, w.words)
	meters := "ohmmeter, and an insulation tester whose voltage every part of the line stands"
	meterCaution := "An insulation tester's voltage can destroy surge arrestors, amplifiers and controllers and can hurt: take them off the line, and discharge the line afterwards."
	behindHidden := fmt.Sprintf("Nothing behind %s has been judged, since nothing comes back from there: sweep again once this is mended.", x)
	spareShort := "short, open and a known good termination that fit the far end"
	noPower := "Put no transmit power on the line until this is mended: it may arc, and what comes back may harm the transmitter."
	switch cause {
	case OpenCircuit:
		a := advice{sight: "a connector that has come apart, a cable that is cut, burnt or hanging free",
			settle: []string{loop + " No reading at all is an open circuit."}, ground: []string{behindHidden}, take: []string{meters, spareShort}, caution: []string{noPower}}
		if w.joint {
			a.at = []string{"Undo the connector and look for a centre contact that is drawn back, broken or was never there, and for a conductor cut too short."}
		} else {
			a.at = []string{"Follow the cable to " + x + " and look for a cut, a burn or a splice that the record does not show."}
		}
		return a
	case ShortCircuit:
		a := advice{sight: "a crushed or pierced cable, a connector full of water, traces of lightning",
			settle: []string{insulation + " Next to no resistance is a short circuit."}, ground: []string{behindHidden}, take: []string{meters, spareShort}, caution: []string{noPower, meterCaution}}
		if w.joint {
			a.at = []string{"Undo the connector and look for swarf, strands of the outer conductor or water across the insulator."}
		} else {
			a.at = []string{"Follow the cable to " + x + " and look for a clamp, a screw or a nail through it, a crushed place or a lightning mark."}
		}
		return a
	case PoorContact:
		return advice{sight: "a connector that is not screwed home, stands at an angle or carries the weight of the cable",
			ground: []string{sweepLower}, settle: []string{tap, loop},
			at: []string{"Undo the connector; look at the centre contact and the seat of the outer conductor for looseness, dirt, corrosion and burn marks; clean or remake it and tighten it to its maker's torque.",
				"Fasten the cable so that the connector carries no load."},
			take: []string{meters, "short that fits the far end"}}
	case ConnectorMismatch:
		return advice{sight: "a connector or adaptor of another kind than the record says",
			ground: []string{sweepWider}, settle: []string{tap},
			at: []string{"Compare the connectors on both sides with their types: the same impedance, made for this cable, no adaptor between.",
				"Undo the connector and check the lengths that its maker gives for cutting back and for the depth of the centre contact; remake it where they are off."},
			take: []string{"drawing with the connector's cutting lengths, and a depth gauge or caliper"}}
	case WaterInConnector:
		return advice{sight: "weatherproofing that is missing, cracked or open at its lower edge, a cable without a drip loop, water stains",
			ground: []string{"Sweep again after a dry spell and after rain: what water does changes, what metal does stays.", sweepLower}, settle: []string{insulation},
			at: []string{"Undo the connector and look for water and for white or green corrosion; if there is any, exchange the connector and cut the cable back until its inside is dry and bright.",
				"Weatherproof it anew, from below upwards, and give the cable a drip loop."},
			take: []string{meters, "dry cloths and a sealed bag for the old connector"}, caution: []string{meterCaution}}
	case WaterInCable:
		return advice{sight: "a cut, a chafed or gnawed place or a drill hole in the jacket; water comes in above and collects at low points",
			ground: []string{"Compare the electrical length with that of the commissioning sweep: wet cable is slower, dented cable is not."}, settle: []string{far, insulation},
			at:   []string{"Look the jacket over from there upwards to the next joint; the leak may lie well above the wet stretch.", "Wet cable does not dry: exchange the section, or cut it back until its inside is dry, and mend the leak that let the water in."},
			take: []string{meters, spareShort, "measuring tape"}, caution: []string{meterCaution}}
	case DentOrKink:
		return advice{sight: "a clamp done up too far, a bend sharper than the cable's least radius, a crushed place at an entry, a ladder or a hoisting grip",
			ground: []string{sweepWider, "A dent that the commissioning sweep shows as large as now may stay if the limit is kept."},
			at:     []string{"Measure along the cable from the nearest joint to " + x + " and feel for the place all around.", "Do not bend or press it back: loosen the clamp; if the limit is missed, exchange the section or cut the place out and join it."},
			take:   []string{"measuring tape", "spare clamps of the cable's size"}}
	case WrongImpedance:
		return advice{sight: "a piece of cable of another print, thickness or colour than the record says",
			ground: []string{sweepWider}, settle: []string{far},
			at:   []string{"Read the print on the jacket at both ends of the stretch and compare it with the record; correct the record if it is the record that is wrong.", "Exchange the stretch for cable of the line's impedance."},
			take: []string{"measuring tape", spareShort}}
	case LossySection:
		return advice{sight: "cable that is hot, discoloured, thinner than the record says or has been under water",
			settle: []string{far, "Part the line at its joints and measure the loss of every section by itself, shorted at its end: one sweep of the whole line cannot tell which section loses.", loop},
			at:     []string{"Look at the connectors at both ends for corroded conductors, and compare the print on the jacket with the record.", "Exchange the section that loses more than its sheet allows."},
			take:   []string{spareShort, meters, "the cable's data sheet"}}
	case AntennaFault:
		return advice{sight: "metal, ice or a ladder close to the antenna, a cracked or wet cover, a jumper on the wrong port",
			settle: []string{"Put a known good termination in place of the antenna and sweep again: if the port is then well inside its limit, it is the antenna or its connector; if not, it is the line.",
				"Sweep the antenna by itself at its connector, away from metal.",
				"Where a second antenna port of the same kind exists, exchange the two jumpers at their ends: a fault that goes with the antenna is the antenna's."},
			at:      []string{"Look at the antenna's connector for water, corrosion and a centre contact that is bent or drawn back; clean it and tighten it to its maker's torque.", "Exchange the antenna if it is outside its sheet by itself."},
			take:    []string{spareShort, "spare antenna of the same type", "the antenna's data sheet"},
			caution: []string{"The sweep's own signal leaves through the antenna: keep it short and weak where others receive."}}
	}
	a := advice{sight: "anything that differs from the record: clamps, bends, splices, connectors, water stains",
		ground: []string{sweepLower, sweepWider}, settle: []string{far},
		at:   []string{"Look over the line half a metre to either side of " + x + " before anything is undone."},
		take: []string{spareShort, meters, "measuring tape"}}
	if w.joint {
		a.settle = append([]string{tap}, a.settle...)
		a.at = append(a.at, "Undo the connector, look for water, corrosion and a centre contact that is out of place, remake it and tighten it to its maker's torque.")
	}
	return a
}

// toldFrom is the confidence from which an alternative is worth a measurement
// of its own.
const toldFrom = 0.1

// advise fills in what to check, what to take along and what to mind, for a
// technician: what can be done from the ground first. It goes by the finding's
// cause, place and alternatives. compared says that an earlier sweep of the healthy line was
// held against this one. A finding that is no fault asks for no work.
func advise(f *Finding, line *cables.Line, path *cables.Path, compared bool) {
	if !f.IsFault {
		f.Checks, f.TakeAlong, f.Cautions = []string{noWork(f)}, []string{}, []string{}
		return
	}
	w := findPlace(f, line, path)
	x := atMetres(f.DistanceM, f.SigmaM)
	if !f.Reflects() { // anywhere there
		x = fmt.Sprintf("%.2f m to %.2f m", f.DistanceM, f.DistanceM+f.ExtentM)
	}
	a := adviceFor(f.Cause, &w, x)

	f.Checks = []string{"At the ground: clean, inspect and tighten the connector at the test port, check the calibration with its own load and sweep again. The finding must stay at " + x + "."}
	if !compared {
		f.Checks = append(f.Checks, "Compare with the sweep taken at commissioning, if there is one: what has grown at this place since then is the fault, what was there already was built so.")
	}
	switch {
	case w.spot == inLoad:
		f.Checks = append(f.Checks, "From the ground, through binoculars, look at the antenna for "+a.sight+".")
	case w.spot.aloft():
		f.Checks = append(f.Checks, fmt.Sprintf("From the ground, through binoculars, look at %s (%s along the line; the record does not say how high that is) for %s.", w.words, x, a.sight))
	default:
		f.Checks = append(f.Checks, fmt.Sprintf("Look at %s (%s along the line) for %s.", w.words, x, a.sight))
	}
	if j := w.jumper; j != nil {
		swap := fmt.Sprintf("Exchange the %s for a known good one of the same length and sweep again: if the finding is gone, it was the jumper or its connectors.", j.Name)
		a.at = append([]string{swap}, a.at...)
		f.TakeAlong = append(f.TakeAlong, fmt.Sprintf("known good jumper in place of the %s: %.2f m of %s", j.Name, j.LengthM, j.Cable.Name))
	}
	if w.device != "" {
		a.settle = append(a.settle, fmt.Sprintf("Bridge the %s with a known good adaptor and sweep again: if the finding is gone, it is the %s.", w.device, w.device))
		a.take = append(a.take, fmt.Sprintf("spare %s, and an adaptor that bridges it", w.device))
		a.caution = append(a.caution, fmt.Sprintf("The %s may be the line's lightning protection: with it out, nobody works on the line in thundery weather, and it goes back in before you leave.", w.device))
	}
	f.Checks = append(f.Checks, a.ground...)
	for _, other := range f.Alternatives {
		if other.Confidence >= toldFrom {
			f.Checks = append(f.Checks, fmt.Sprintf("It may be %s instead (%.0f %%). What tells the two apart: %s", other.Cause.Words(), 100*other.Confidence, separate(f.Cause, other.Cause)))
		}
	}
	f.Checks = slices.Concat(f.Checks, a.settle, a.at, []string{"Sweep again after the repair and keep that sweep as the line's new baseline."})

	f.TakeAlong = slices.Concat([]string{"the instrument, charged, with its test cable and its open, short and load", "this report and the commissioning sweep"}, f.TakeAlong)
	if w.joint || w.spot == inLoad || w.jumper != nil || w.device != "" {
		f.TakeAlong = append(f.TakeAlong, "torque wrench and spanners of the connectors' sizes, set to their makers' torque", "lint-free cloth, isopropyl alcohol, lamp and magnifier")
	}
	for _, s := range w.spans {
		if s.Cable != nil && f.Cause != LossySection {
			f.TakeAlong = append(f.TakeAlong, fmt.Sprintf("spare connectors for %s with the tools to prepare that cable", s.Cable.Name))
		}
	}
	f.TakeAlong = slices.Concat(f.TakeAlong, a.take)
	if f.Cause != AntennaFault {
		f.TakeAlong = append(f.TakeAlong, "weatherproofing: self-amalgamating tape and a tape that stands sunlight over it, or the maker's closure")
	}
	if w.spot.aloft() {
		f.TakeAlong = append(f.TakeAlong, "where the place is up a tower or a roof: trained people, fall protection or a lift, a tool bag with lanyards, a radio to the one at the instrument")
	}
	f.TakeAlong = append(f.TakeAlong, "locks and tags for the transmitter and the supplies on the line")
	f.TakeAlong = once(f.TakeAlong)

	f.Cautions = append(Cautions(), "A line that is open at both ends can hold a charge: connect its inner conductor to ground before touching it.")
	if !w.joint && w.spot != inLoad {
		f.Cautions = append(f.Cautions, "Before a cable is cut, make sure at both ends that it is this one and that it is dead.")
	}
	f.Cautions = once(append(f.Cautions, a.caution...))
}

// noWork says why a finding that is no fault needs nobody.
func noWork(f *Finding) string {
	switch f.Cause {
	case Ghost:
		if len(f.GhostOf) == 2 {
			return fmt.Sprintf("Nothing is here: the wave bounces between %.2f m and %.2f m. It goes when either of them does.", f.GhostOf[0], f.GhostOf[1])
		}
		return "Nothing is here: the wave bounces more than once on its way."
	case FarEnd:
		return "This is the end of the line as the record has it: nothing to do."
	}
	return "Within what the record and a sound installation allow: nothing to do. Keep this sweep as the baseline to hold later ones against."
}

// once leaves out what was said before.
func once(list []string) []string {
	var out []string
	for _, s := range list {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}
