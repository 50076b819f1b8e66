package diagnose

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
	"downlead/dsp/sweep"
)

// An open or a short throws everything back, and an antenna about what its record says. Where far less
// comes back than any cable of the record could lose, something on the way swallows it, water most of
// all, though nothing of its own shows, and the sweep looks the better for it.
const (
	silentNominalDB = 40.0 // there and back by the record: an end behind more is hardly seen
	// An antenna is not that much better than its record all over its band: its maker promises with some 3 dB in hand. Common
	// practice, no source.
	silentAntennaDB = 8.0
	// How likely which is; the rest is a record that is wrong. Common practice, no source.
	silentFirst  = 0.5
	silentSecond = 0.3
)

// silentEnd tells of an end that hardly comes back, which nothing in findings accounts for; ok is false
// where it comes back, or no more is lost than a lossy section may.
func (b *bench) silentEnd(found []locate.Reflection, line *cables.Line, lost excess, findings []Finding, rangeM float64) (f Finding, ok bool) {
	length := b.path.LengthM()
	if aliasFree := cables.SpeedOfLight / (2 * meanStep(b.fit.FrequencyHz)); aliasFree < b.path.ElectricalM(length) || rangeM > 0 && rangeM < length {
		return f, false // it is not looked at
	}
	if hidden(found, length) || b.blocked() || slowed(findings) || b.faultAtEnd(findings) || slices.ContainsFunc(findings, func(f Finding) bool {
		return f.IsFault && (f.Cause == LossySection || f.Cause == OpenCircuit || f.Cause == ShortCircuit)
	}) {
		return f, false
	}
	missing, what := b.missing(line)
	nominal := 2 * real(b.path.Theta(b.fit.MiddleHz, length)) / cables.NeperPerDB
	least := 2 * lost.soundDB()
	if line.Load.Kind == cables.Antenna {
		least = silentAntennaDB
	}
	for _, v := range b.named { // what is lost in a fault is not known to better than half
		if p, _ := b.point(v); p != nil && !p.Form.Ends() {
			least += lostThroughDB(p) / 2
		}
	}
	if missing < least || nominal > silentNominalDB {
		return f, false
	}
	f = inOneOfFinding(b.path.Spans, WaterInCable, silentFirst,
		what+": that much is lost on the way, and makes the sweep look good",
		"what swallows it reflects too little to be seen, so where it is does not show; what would: sweep each section by itself, its far end open or shorted")
	f.Alternatives = []Alternative{{LossySection, silentSecond}}
	if missing < mostLossShare*nominal {
		f.Cause, f.Alternatives[0].Cause = LossySection, WaterInCable
	}
	return f, true
}

// missing is how much less than it should comes back from the end of the line, dB, the recorded loss of the way
// taken out, and that in words.
func (b *bench) missing(line *cables.Line) (db float64, what string) {
	switch line.Load.Kind {
	case cables.Open, cables.Short:
		if slices.ContainsFunc(b.fit.Points, func(p *linemodel.Point) bool {
			return p.X > b.path.LengthM() && !b.isAtEnd(p.X) && b.fit.RMS(p) > endSize
		}) {
			return 0, "" // it is late, which is not this
		}
		db = math.Inf(1)
		if points := b.aboutEnd(); len(points) > 0 {
			sum := 0.0
			for _, r := range b.fit.Together(points) {
				sum += real(r * cmplx.Conj(r))
			}
			db = -10 * math.Log10(math.Max(sum/float64(len(b.fit.FrequencyHz)), 1e-12))
		}
		kind := map[cables.LoadKind]string{cables.Open: "open", cables.Short: "shorted"}[line.Load.Kind]
		if math.IsInf(db, 1) {
			return db, fmt.Sprintf("nothing comes back from the far end, which is %s by the record", kind)
		}
		return db, fmt.Sprintf("the far end, which is %s by the record, comes back %.1f dB weaker than that, the loss of the record taken out", kind, db)
	case cables.Antenna:
		a, ok := b.seeAntenna(line)
		if !ok || line.Load.ReturnLossDB == 0 || slices.ContainsFunc(b.fit.Points, func(p *linemodel.Point) bool { return b.fit.RMS(p) > lumpedMost }) {
			return 0, ""
		}
		most := sweep.ReturnLossFromMagnitude(sweep.MagnitudeFromReturnLoss(a.worstDB) + a.sigma)
		db = most - a.promisedDB
		return db, fmt.Sprintf("in its band of %s the antenna throws back at least %.0f dB less than its record of %.1f dB, the loss of the record taken out; hardly any antenna is that good", bandWords(a.low, a.high), db, a.promisedDB)
	}
	return 0, ""
}
