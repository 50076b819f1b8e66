package cables

import (
	"errors"
	"fmt"
	"math"
)

// Medium returns the electrical constants of the cable type: the two-term
// attenuation law is fitted to the attenuation table. See FitAttenuation.
func (t *Type) Medium() (Medium, error) {
	m := Medium{ImpedanceOhm: t.ImpedanceOhm, VelocityFactor: t.VelocityFactor}
	var err error
	m.ConductorNp, m.DielectricNp, err = FitAttenuation(t.Attenuation)
	if err != nil {
		return Medium{}, fmt.Errorf("cable %q: %w", t.ID, err)
	}
	return m, nil
}

// FitAttenuation fits α(f) = a·√f + b·f to the points of an attenuation table
// by non-negative least squares on the relative error, and returns a in
// Np/m/√Hz and b in Np/m/Hz. One point gives conductor loss only. No points
// give a lossless line. A point without a positive frequency and a finite,
// non-negative attenuation is an error.
func FitAttenuation(points []AttenuationPoint) (conductorNp, dielectricNp float64, err error) {
	// Columns √f/α and f/α against a right-hand side of ones.
	var ss, sf, ff, s1, f1 float64
	for _, p := range points {
		if !(p.FrequencyHz > 0) || !(p.DBPerHundredM >= 0) || math.IsInf(p.DBPerHundredM, 0) || math.IsInf(p.FrequencyHz, 0) {
			return 0, 0, fmt.Errorf("attenuation point [%g Hz, %g dB/100 m] needs a positive frequency and a finite loss of at least 0", p.FrequencyHz, p.DBPerHundredM)
		}
		if p.DBPerHundredM == 0 {
			continue // says nothing of a relative error
		}
		alpha := p.DBPerHundredM / 100 * NeperPerDB
		s, f := math.Sqrt(p.FrequencyHz)/alpha, p.FrequencyHz/alpha
		ss += s * s
		sf += s * f
		ff += f * f
		s1 += s
		f1 += f
	}
	if ss == 0 {
		return 0, 0, nil
	}
	if det := ss*ff - sf*sf; det > 1e-12*ss*ff {
		a, b := (s1*ff-f1*sf)/det, (f1*ss-s1*sf)/det
		switch {
		case a >= 0 && b >= 0:
			return a, b, nil
		case a < 0:
			return 0, f1 / ff, nil
		}
	}
	return s1 / ss, 0, nil
}

// ErrNoSections is returned for a line without any section.
var ErrNoSections = errors.New("the line has no section of cable")

// toleranceSigmas is how many standard deviations a stated tolerance is: it is
// a bound that nearly all cable keeps. Common practice, no source.
const toleranceSigmas = 3

// Path lays the line out: sections and devices in order from the test port.
// Devices are drawn as air line of the reference impedance and of their own
// length, behind one another in the order of the record where several follow
// the same section. The path points into the line's Cables and Devices.
// Errors: no section, a section whose cable the line does not define, a length
// that is not positive and finite (a device's may be 0), a device after a
// section that does not exist or whose name two sections share, constants of
// a cable that are out of their physical range, or an attenuation table that
// cannot be fitted.
func (l *Line) Path() (*Path, error) {
	if len(l.Sections) == 0 {
		return nil, ErrNoSections
	}
	p := &Path{ReferenceOhm: l.ReferenceImpedanceOhm}
	if p.ReferenceOhm == 0 {
		p.ReferenceOhm = 50
	}
	if !(p.ReferenceOhm > 0) || math.IsInf(p.ReferenceOhm, 0) {
		return nil, fmt.Errorf("a reference impedance of %g ohm is not positive and finite", p.ReferenceOhm)
	}
	for _, device := range l.Devices {
		switch n := l.sectionsNamed(device.After); {
		case n == 0:
			return nil, fmt.Errorf("device %q: no section is called %q", device.Kind, device.After)
		case n > 1:
			return nil, fmt.Errorf("device %q: %d sections are called %q", device.Kind, n, device.After)
		case !(device.LengthM >= 0) || math.IsInf(device.LengthM, 0):
			return nil, fmt.Errorf("device %q: a length of %g m is negative or not finite", device.Kind, device.LengthM)
		}
	}
	at := 0.0
	add := func(s Span) {
		s.StartM = at
		at += s.LengthM
		p.Spans = append(p.Spans, s)
	}
	for i := range l.Sections {
		section := &l.Sections[i]
		if !(section.LengthM > 0) || math.IsInf(section.LengthM, 0) {
			return nil, fmt.Errorf("section %q: a length of %g m is not positive and finite", section.Name, section.LengthM)
		}
		var cable *Type
		for j := range l.Cables {
			if l.Cables[j].ID == section.CableID {
				cable = &l.Cables[j]
				break
			}
		}
		if cable == nil {
			return nil, fmt.Errorf("section %q: the line defines no cable %q", section.Name, section.CableID)
		}
		medium, err := cable.Medium()
		if err != nil {
			return nil, err
		}
		if !(medium.ImpedanceOhm > 0) || math.IsInf(medium.ImpedanceOhm, 0) {
			return nil, fmt.Errorf("cable %q: an impedance of %g ohm is not positive and finite", cable.ID, cable.ImpedanceOhm)
		}
		if !(medium.VelocityFactor > 0 && medium.VelocityFactor <= 1) {
			return nil, fmt.Errorf("cable %q: a velocity factor of %g is not above 0 and at most 1", cable.ID, cable.VelocityFactor)
		}
		if !(cable.VelocityFactorTolerance >= 0) || math.IsInf(cable.VelocityFactorTolerance, 0) {
			return nil, fmt.Errorf("cable %q: a velocity factor tolerance of %g is negative or not finite", cable.ID, cable.VelocityFactorTolerance)
		}
		add(Span{Name: section.Name, Cable: cable, LengthM: section.LengthM, Medium: medium,
			VelocityTolerance: cable.VelocityFactorTolerance / toleranceSigmas / cable.VelocityFactor})
		for j := range l.Devices {
			if device := &l.Devices[j]; device.After == section.Name {
				air := Air
				air.ImpedanceOhm = p.ReferenceOhm // a matched device, whatever the system
				add(Span{Name: device.Kind, Device: device, LengthM: device.LengthM, Medium: air})
			}
		}
	}
	return p, nil
}

func (l *Line) sectionsNamed(name string) int {
	n := 0
	for i := range l.Sections {
		if l.Sections[i].Name == name {
			n++
		}
	}
	return n
}

// LengthM returns the length of the path, m.
func (p *Path) LengthM() float64 {
	last := p.Spans[len(p.Spans)-1]
	return last.StartM + last.LengthM
}

// JointsM returns the places where spans meet, the test port (0) first and the
// load's connector last, m. A device without length gives its place twice.
func (p *Path) JointsM() []float64 {
	joints := make([]float64, 0, len(p.Spans)+1)
	for _, s := range p.Spans {
		joints = append(joints, s.StartM)
	}
	return append(joints, p.LengthM())
}

// SpanAt returns the index of the span that holds x; a place where two meet
// belongs to the later one. Places in front of the line belong to the first,
// places behind it to the last.
func (p *Path) SpanAt(x float64) int {
	for i, s := range p.Spans {
		if x < s.StartM+s.LengthM {
			return i
		}
	}
	return len(p.Spans) - 1
}

// Theta returns Θ(f,x) = ∫ γ dx from the reference plane to x. The real part
// is the loss one way in nepers, the imaginary part the phase one way in
// radians. x may be negative or beyond the end.
func (p *Path) Theta(frequencyHz, x float64) complex128 {
	var theta complex128
	last := len(p.Spans) - 1
	for i, s := range p.Spans {
		inside := x - s.StartM
		if i > 0 && inside <= 0 {
			break
		}
		if i < last && inside > s.LengthM {
			inside = s.LengthM
		}
		gamma, _ := s.Medium.Wave(frequencyHz)
		theta += gamma * complex(inside, 0)
	}
	return theta
}

// ElectricalM returns the free-space length of the path from the reference
// plane to x at the high-frequency velocities: ∫ dx/VF, m.
func (p *Path) ElectricalM(x float64) float64 {
	sum := 0.0
	last := len(p.Spans) - 1
	for i, s := range p.Spans {
		inside := x - s.StartM
		if i > 0 && inside <= 0 {
			break
		}
		if i < last && inside > s.LengthM {
			inside = s.LengthM
		}
		sum += inside / s.Medium.VelocityFactor
	}
	return sum
}

// DelayS returns how long a wave takes from one place of the path to another,
// one way, at the high-frequency velocities, s.
func (p *Path) DelayS(from, to float64) float64 {
	return (p.ElectricalM(to) - p.ElectricalM(from)) / SpeedOfLight
}

// PhysicalM is the inverse of ElectricalM: the place whose free-space length
// from the reference plane is electricalM.
func (p *Path) PhysicalM(electricalM float64) float64 {
	last := len(p.Spans) - 1
	for i, s := range p.Spans {
		length := s.LengthM / s.Medium.VelocityFactor
		if i == last || electricalM < length {
			return s.StartM + electricalM*s.Medium.VelocityFactor
		}
		electricalM -= length
	}
	return math.NaN() // a Path has at least one span
}

// Cascade returns the path as a chain of elements, without joints.
func (p *Path) Cascade() Cascade {
	c := make(Cascade, len(p.Spans))
	for i, s := range p.Spans {
		c[i] = Stretch{Medium: s.Medium, LengthM: s.LengthM}
	}
	return c
}

// VelocityVariance returns the variance of the place at x, m², that comes from the
// cables' velocity tolerances: spans of the same cable err together.
func (p *Path) VelocityVariance(x float64) float64 {
	byCable := map[*Type]float64{}
	var cables []*Type // in the order of the line: a sum in another order is another number
	for i, s := range p.Spans {
		inside := math.Min(x-s.StartM, s.LengthM)
		if i == len(p.Spans)-1 {
			inside = x - s.StartM
		}
		if inside > 0 {
			if _, met := byCable[s.Cable]; !met {
				cables = append(cables, s.Cable)
			}
			byCable[s.Cable] += inside * s.VelocityTolerance
		}
	}
	sum := 0.0
	for _, c := range cables {
		sum += byCable[c] * byCable[c]
	}
	return sum
}
