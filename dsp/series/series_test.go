package series

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp/sweep"
)

// mast is a line of three sections and an antenna, as built and on one day: what
// changes from sweep to sweep. Its sweeps come from chain matrices (package
// cables), not from the model that the series is fitted with.
type mast struct {
	contactOhm  [3]float64 // in series at the two joints and at the antenna's connector
	midOhm      float64    // in series in mid-feeder, at 20 m
	warmer      [3]float64 // relative lengthening of each section
	gain        complex128 // of the instrument, relative change
	directivity complex128 // change
	joint       float64    // nH more at the upper joint
	noise       float64    // rms of a point
	load        cables.LoadKind
	// As built, away from the record: impedance and velocity of each section, relative.
	impedance, velocity [3]float64
}

var sectionM = [3]float64{2.5, 30, 2.2}

const masts = `name = "test mast"
[[cable]]
id = "feeder"
name = "feeder"
impedance_ohm = 50.0
velocity_factor = 0.88
velocity_factor_tolerance = 0.01
attenuation_db_per_100m = [[100e6, 1.2], [1000e6, 4.0]]
[[cable]]
id = "jumper"
name = "jumper"
impedance_ohm = 50.0
velocity_factor = 0.83
velocity_factor_tolerance = 0.01
attenuation_db_per_100m = [[100e6, 3.4], [1000e6, 11.0]]
[[section]]
name = "bottom jumper"
cable = "jumper"
length_m = 2.5
[[section]]
name = "feeder"
cable = "feeder"
length_m = 30.0
[[section]]
name = "top jumper"
cable = "jumper"
length_m = 2.2
[load]
kind = "%s"
`

func record(t testing.TB, load cables.LoadKind) *cables.Line {
	t.Helper()
	text := fmt.Sprintf(masts, load)
	if load == cables.Antenna {
		text += "band_hz = [860e6, 960e6]\n"
	}
	line, err := cables.DecodeLine("line.toml", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return line
}

// antenna is a resonator that swallows a little.
func antenna(hz float64) complex128 {
	x := complex(0, 9*(hz/910e6-910e6/hz))
	return 0.82*x/(1+x) + 0.06
}

// sweeps returns one sweep for each day.
func sweeps(t testing.TB, days []mast, seed uint64) []*sweep.Sweep {
	t.Helper()
	line := record(t, days[0].load)
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(seed, 7))
	hz := make([]float64, 801)
	for k := range hz {
		hz[k] = 100e6 + 1.5e6*float64(k)
	}
	load := func(hz float64) complex128 { return antenna(hz) }
	switch days[0].load {
	case cables.Open:
		load = func(float64) complex128 { return 1 }
	case cables.Termination:
		load = func(float64) complex128 { return 0.02 }
	}
	ohms := func(ohm, nanohenry float64) cables.Series {
		return func(hz float64) complex128 { return complex(ohm, 2*math.Pi*hz*nanohenry*1e-9) }
	}
	var out []*sweep.Sweep
	for i, day := range days {
		stretch := func(span int, lengthM float64) cables.Stretch {
			medium := path.Spans[span].Medium
			medium.ImpedanceOhm *= 1 + day.impedance[span]
			medium.VelocityFactor *= 1 + day.velocity[span]
			return cables.Stretch{Medium: medium, LengthM: lengthM * 1.002 * (1 + day.warmer[span])}
		}
		chain := cables.Cascade{
			ohms(0, 0.05), stretch(0, sectionM[0]),
			ohms(0.05+day.contactOhm[0], 0.25), stretch(1, 17.5), ohms(day.midOhm, 0), stretch(1, sectionM[1]-17.5),
			ohms(0.05+day.contactOhm[1], 0.3+day.joint), stretch(2, sectionM[2]), ohms(day.contactOhm[2], 0.1),
		}
		gamma := chain.Reflection(hz, load, 50)
		for k := range gamma {
			gamma[k] = gamma[k]*(1+day.gain) + day.directivity +
				complex(day.noise*rng.NormFloat64()/math.Sqrt2, day.noise*rng.NormFloat64()/math.Sqrt2)
		}
		out = append(out, &sweep.Sweep{Name: fmt.Sprintf("%02d.s1p", i+1), FrequencyHz: hz, Gamma: gamma, ReferenceOhm: 50})
	}
	return out
}

func find(t testing.TB, days []mast, seed uint64, settings Settings) *Result {
	t.Helper()
	r, err := Find(context.Background(), sweeps(t, days, seed), record(t, days[0].load), settings)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// series makes days with noise of −80 dB and what change does to them.
func days(n int, change func(k int, m *mast)) []mast {
	out := make([]mast, n)
	for k := range out {
		out[k] = mast{noise: 1e-4, load: cables.Antenna}
		change(k, &out[k])
	}
	return out
}

func onePlace(t *testing.T, r *Result, x float64, motion Motion) *Place {
	t.Helper()
	if len(r.Places) != 1 {
		t.Errorf("%d places, want one at %.2f m: %s", len(r.Places), x, r.Summary)
		for _, p := range r.Places {
			t.Logf("%+v", p)
		}
		return nil
	}
	p := &r.Places[0]
	// As built 0.2 % longer than the record.
	if math.Abs(p.DistanceM-1.002*x) > 0.05 || p.Motion != motion {
		t.Errorf("%s at %.3f ± %.3f m, want %s at %.2f m: %s", p.Motion, p.DistanceM, p.SigmaM, motion, x, r.Summary)
	}
	return p
}

func TestLooseContact(t *testing.T) {
	moved := map[int]float64{4: 0.6, 5: 0.3, 11: 2}
	for i, x := range []float64{2.5, 32.5, 34.7} {
		if i > 0 && testing.Short() {
			break
		}
		r := find(t, days(20, func(k int, m *mast) { m.contactOhm[i] = moved[k] }), 1, Settings{})
		p := onePlace(t, r, x, Jumps)
		if p == nil {
			continue
		}
		if !slices.Equal(p.Moved, []int{5, 6, 12}) || !slices.Equal(p.Jumped, []int{5, 6, 7, 12, 13}) {
			t.Errorf("at %.1f m: moved in %v, jumped before %v", x, p.Moved, p.Jumped)
		}
		// 2 ohm in series: 2/102; at the antenna times (1-u)², u from -0.8 to 0.9.
		want, within := decibels(2.0/102), 0.5
		if i == 2 {
			want, within = want+2, 3
		}
		if math.Abs(p.PeakDB-want) > within {
			t.Errorf("at %.1f m: peak %.1f dB, want %.1f dB", x, p.PeakDB, want)
		}
		t.Logf("%s; echoes %v", r.Summary, r.Echoes)
	}
}

func TestWarming(t *testing.T) {
	cases := map[string][3]float64{"all": {1, 1, 1}, "the feeder": {0, 1, 0}, "the jumpers": {1, 0, 1}}
	if testing.Short() {
		cases = map[string][3]float64{"the feeder": cases["the feeder"]}
	}
	for name, warmer := range cases {
		r := find(t, days(24, func(k int, m *mast) {
			for i := range warmer {
				m.warmer[i] = 30e-6 * warmer[i] * float64(k) / 23
			}
		}), 2, Settings{})
		lengthM := 0.0
		for i, w := range warmer {
			lengthM += w * 30e-6 * 1.002 * sectionM[i] / [3]float64{0.83, 0.88, 0.83}[i]
		}
		if len(r.Places) > 0 || r.Length.Motion != Drifts || math.Abs(r.Length.Range-1000*lengthM) > 0.05*1000*lengthM+4*r.Length.Sigma {
			t.Errorf("%s: want a drift of %.3f mm: range %.3f mm, sigma %.4f mm: %s", name, 1000*lengthM, r.Length.Range, r.Length.Sigma, r.Summary)
		}
		t.Log(name, r.Summary)
	}
}

func TestWind(t *testing.T) {
	r := find(t, days(30, func(k int, m *mast) { m.joint = 0.02 * math.Sin(2*math.Pi*float64(k)/11) }), 3, Settings{})
	onePlace(t, r, 32.5, Swings)
	t.Log(r.Summary)
}

func TestInstrument(t *testing.T) {
	r := find(t, days(20, func(k int, m *mast) {
		m.gain = complex(1e-3*float64(k)/19, 2e-3*float64(k)/19)
		m.directivity = complex(0, 1e-3*math.Sin(float64(k)/3))
	}), 4, Settings{})
	if len(r.Places) > 0 || r.Gain.Motion != Drifts || r.Port.Motion != Swings || math.Abs(r.Gain.Range-0.00868) > 0.0005 {
		t.Errorf("gain %s by %.5f dB, port %s: %s", r.Gain.Motion, r.Gain.Range, r.Port.Motion, r.Summary)
	}
	t.Log(r.Summary)
}

func TestAllAtOnce(t *testing.T) {
	r := find(t, days(24, func(k int, m *mast) {
		for i := range m.warmer {
			m.warmer[i] = 20e-6 * float64(k) / 23
		}
		m.gain = complex(5e-4*math.Sin(float64(k)/4), 0)
		if k == 9 || k == 15 {
			m.midOhm = 0.8
		}
	}), 5, Settings{})
	p := onePlace(t, r, 20, Jumps)
	if p != nil && !slices.Equal(p.Moved, []int{10, 16}) {
		t.Errorf("moved in %v", p.Moved)
	}
	if r.Length.Motion != Drifts {
		t.Errorf("length %s: %v, sigma %v", r.Length.Motion, r.Length.Trace, r.Length.Sigma)
	}
	t.Log(r.Summary)
}

func TestTwoPlaces(t *testing.T) {
	r := find(t, days(24, func(k int, m *mast) {
		m.contactOhm[0] = 0.4 * float64(k%3/2)
		m.joint = 0.03 * math.Sin(float64(k)/3)
	}), 6, Settings{})
	if len(r.Places) != 2 || math.Abs(r.Places[0].DistanceM-2.505) > 0.05 || math.Abs(r.Places[1].DistanceM-32.565) > 0.05 || r.Places[0].Motion != Jumps || r.Places[1].Motion != Swings {
		t.Errorf("%s", r.Summary)
	}
	t.Log(r.Summary)
}

// Interference hits some points of some sweeps: it is no motion.
func TestInterference(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	all := sweeps(t, days(16, func(int, *mast) {}), 8)
	for _, s := range all {
		for range 4 {
			s.Gamma[rng.IntN(len(s.Gamma))] += complex(0.05*rng.NormFloat64(), 0.05*rng.NormFloat64())
		}
	}
	r, err := Find(context.Background(), all, record(t, cables.Antenna), Settings{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Places) > 0 || r.Summary != "steady: nothing moves beyond the noise" || math.Abs(r.NoiseDB+80) > 1 {
		t.Errorf("noise %.1f dB: %s", r.NoiseDB, r.Summary)
	}
}

func TestMap(t *testing.T) {
	r := find(t, days(12, func(k int, m *mast) {
		if k == 7 {
			m.midOhm = 1
		}
	}), 9, Settings{})
	if len(r.Map.ChangeDB) != 12 || len(r.Map.ChangeDB[0]) != len(r.Map.DistanceM) || len(r.Map.FloorDB) != len(r.Map.DistanceM) {
		t.Fatalf("%d rows, %d places", len(r.Map.ChangeDB), len(r.Map.DistanceM))
	}
	row, best := 0, 0
	for k := range r.Map.ChangeDB {
		for i, db := range r.Map.ChangeDB[k] {
			if db > r.Map.ChangeDB[row][best] {
				row, best = k, i
			}
		}
	}
	if db := r.Map.ChangeDB[row][best]; row != 7 || math.Abs(r.Map.DistanceM[best]-20.04) > 0.06 || math.Abs(db-decibels(1.0/101)) > 1 {
		t.Errorf("the largest change is %.1f dB at %.2f m in sweep %d", db, r.Map.DistanceM[best], row+1)
	}
}

func TestWhatIsNoSeries(t *testing.T) {
	line := record(t, cables.Antenna)
	all := sweeps(t, days(5, func(int, *mast) {}), 10)
	short, err := all[4].Band(0, 1e9)
	if err != nil {
		t.Fatal(err)
	}
	other := *all[4]
	other.ReferenceOhm = 75
	shifted := *all[4]
	shifted.FrequencyHz = slices.Clone(shifted.FrequencyHz)
	shifted.FrequencyHz[3] += 1e4
	for want, series := range map[string][]*sweep.Sweep{
		"3 sweeps are no series: noise and motion can be told apart from 4 on":                                                                                            all[:3],
		"05.s1p has 601 points and 01.s1p 801: a series needs the same frequencies in all sweeps; leave out those of another setting":                                     append(slices.Clone(all[:4]), short),
		"05.s1p is in 75 ohm and 01.s1p in 50 ohm: a series needs the same reference in all sweeps":                                                                       append(slices.Clone(all[:4]), &other),
		"point 4 of 05.s1p is at 1.0451e+08 Hz and that of 01.s1p at 1.045e+08 Hz: a series needs the same frequencies in all sweeps; leave out those of another setting": append(slices.Clone(all[:4]), &shifted),
	} {
		if _, err := Find(context.Background(), series, line, Settings{}); err == nil || err.Error() != want {
			t.Errorf("%v, want %s", err, want)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Find(ctx, all, line, Settings{}); err != context.Canceled {
		t.Errorf("cancelled: %v", err)
	}
}

// The columns by themselves: a fit gives back what was put in, and its variance is
// that of many draws.
func TestFrame(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	column := func() []complex128 {
		out := make([]complex128, 40)
		for k := range out {
			out[k] = complex(rng.NormFloat64(), rng.NormFloat64())
		}
		return out
	}
	f := &frame{}
	a, b := column(), column()
	near := slices.Clone(a) // nearly a
	for k := range near {
		near[k] += b[k] * 0.1
	}
	for _, c := range [][]complex128{a, near, column()} {
		if !f.add(c, 1e3, 1) {
			t.Error("an independent column was left out")
		}
	}
	free := &frame{}
	if !free.add(a, 1, 0) || free.add(times(a, 2), 1, 0) {
		t.Error("of a column and its double, not the first alone was kept")
	}
	truth := []float64{2, -1, 0.5}
	weights := []float64{1, 1, 3}
	const draws = 4000
	sum, square := 0.0, 0.0
	for range draws {
		d := column() // noise of variance 1 in each real number
		for j, c := range f.columns {
			subtract(d, -truth[j], c)
		}
		c, _, _ := f.fit(d)
		v := 0.0
		for j := range c {
			v += weights[j] * c[j]
		}
		sum, square = sum+v, square+v*v
	}
	mean := sum / draws
	variance := square/draws - mean*mean
	want := f.variance(weights)
	// The mean is known to the root of variance/draws, the variance to 2.2 %.
	if math.Abs(mean-2.5) > 4*math.Sqrt(want/draws) || math.Abs(variance/want-1) > 0.09 {
		t.Errorf("mean %g, want 2.5; variance %g, want %g", mean, variance, want)
	}
}
