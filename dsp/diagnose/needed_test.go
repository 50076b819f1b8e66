package diagnose

import (
	"math"
	"math/rand/v2"
	"testing"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// contactBench is a bench on a terminated line with a contact of 10 ohm at 3 m and
// noise of 60 dB under it, that as yet has nothing in its model.
func contactBench(t *testing.T) *bench {
	t.Helper()
	path, err := clearLine(cables.Termination).Line.Path()
	if err != nil {
		t.Fatal(err)
	}
	var hz []float64
	for k := range 401 {
		hz = append(hz, 300e6+float64(k)*2e6)
	}
	m := linemodel.New(path, hz)
	contact := m.NewPoint(3, linemodel.Series)
	contact.Flat = 0.2
	m.Sample(contact)
	m.Insert(contact)
	m.Forward()
	random := rand.New(rand.NewPCG(1, 2))
	measured := make([]complex128, len(hz))
	for k := range measured {
		measured[k] = m.Sum[k] + complex(7e-4*random.NormFloat64(), 7e-4*random.NormFloat64())
	}
	b := &bench{fit: linemodel.NewFit(path, hz, measured), path: path, load: cables.Termination, joints: path.JointsM()}
	b.fit.Noise = 1e-6
	b.unit = temper * b.fit.Noise
	b.fit.Unit = b.unit
	b.fit.Evaluate()
	return b
}

func (b *bench) put(x float64, form linemodel.Form, flat, rising float64) *linemodel.Point {
	p := b.fit.NewPoint(x, form)
	p.Flat, p.Rising = flat, rising
	p.Fits = linemodel.Fitting(linemodel.ByFlat, linemodel.ByRising)
	b.fit.Sample(p)
	b.fit.Insert(p)
	b.fit.Evaluate()
	return p
}

// Without a contact of 10 ohm the line explains the sweep far worse; without two
// points that undo each other it does not.
func TestWithoutFault(t *testing.T) {
	b := contactBench(t)
	contact := b.put(3, linemodel.Series, 0.2, 0)
	b.put(9, linemodel.Shunt, 0, 0.05)
	nothing := b.put(9.002, linemodel.Series, 0, 0.05)
	b.fit.Refine(b.fit.Points, false, false, 6)
	for _, c := range []struct {
		name   string
		p      *linemodel.Point
		needed bool
	}{{"contact", contact, true}, {"one of two that undo each other", nothing, false}} {
		before := b.fit.Cost
		sound, ok := b.withoutFault(&cluster{members: []*locate.Reflection{{Kind: locate.Mid}}, points: []*linemodel.Point{c.p}})
		if !ok {
			t.Fatalf("%s: not tried", c.name)
		}
		if by := (sound.Cost - before) / b.unit; (by > faultGain) != c.needed {
			t.Errorf("%s: %.1f natural units lost without it, needed %v", c.name, by, c.needed)
		}
		if math.Abs(b.fit.Cost-before) > 1e-9*before {
			t.Errorf("%s: the fit has changed", c.name)
		}
	}
}

// A change is on the line only where, and as strong as, the sweep shows it.
func TestChangeIsOnTheLine(t *testing.T) {
	for _, modelled := range []bool{false, true} {
		b := contactBench(t)
		if modelled {
			b.put(3, linemodel.Series, 0.2, 0)
		}
		for _, c := range []struct {
			x, db float64
			want  bool
		}{{3, 21, true}, {9, 30, false}, {9, 50, false}} {
			if got := b.bears(&change{DistanceM: c.x, NowDB: c.db}); got != c.want {
				t.Errorf("in the model %v: a change of %.0f dB at %.0f m is on the line: %v, want %v", modelled, c.db, c.x, got, c.want)
			}
		}
	}
}

// A weak circuit whose values may as well be none is no fault; one value that is sure, or a strong
// reflection, makes it one.
func TestUnsure(t *testing.T) {
	b := contactBench(t)
	for _, c := range []struct {
		name         string
		flat, rising float64
		unsure       bool
	}{{"weak", 0.02, 0.02, true}, {"one is sure", 0.05, 0.02, false}, {"strong", 0.5, 0.5, false}} {
		p := b.put(9, linemodel.Series, c.flat, c.rising)
		sigma := map[int]float64{linemodel.ByFlat: math.Max(c.flat, 0.4)}
		if !c.unsure && c.flat < 0.1 {
			sigma[linemodel.ByFlat] = c.flat / 3
		}
		sigma[linemodel.ByRising] = math.Max(c.rising, 0.4)
		if got := b.unsure(p, sigma); got != c.unsure {
			t.Errorf("%s, %.3f of it reflected: unsure %v", c.name, b.fit.RMS(p), got)
		}
		b.fit.Remove(p)
	}
}
