package diagnose

import (
	"context"
	"fmt"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// BenchmarkRun is the whole main job on a line of 19 m: what a fault costs, and
// what points do. Wet cable in front of an antenna is among the slow cases.
func BenchmarkRun(b *testing.B) {
	for _, c := range []struct {
		name   string
		points int
		faults []simulate.Fault
	}{
		{"clean", 1001, nil},
		{"contact", 1001, []simulate.Fault{{Cause: "poor-contact", At: "feeder / top jumper", SeriesOhm: 14}}},
		{"water", 1001, []simulate.Fault{{Cause: "water-in-connector", At: "feeder / top jumper"}}},
		{"dent", 1001, []simulate.Fault{{Cause: "dent-or-kink", DistanceM: 9.5}}},
		{"contact", 10001, []simulate.Fault{{Cause: "poor-contact", At: "feeder / top jumper", SeriesOhm: 14}}},
	} {
		b.Run(fmt.Sprintf("%s/%d", c.name, c.points), func(b *testing.B) {
			scenario := clearLine(cables.Antenna, c.faults...)
			scenario.Sweep.Segments[0].Points = c.points
			made, err := simulate.Run(context.Background(), scenario)
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := Run(context.Background(), made.Sweep, made.Line, Settings{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
