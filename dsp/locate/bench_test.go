package locate

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// BenchmarkFind locates on 1001 points: the demonstration's line of 52 m with a
// wet connector and its antenna, and 60 m of plain cable with three parts.
func BenchmarkFind(b *testing.B) {
	b.Run("demo", func(b *testing.B) {
		scenario, err := simulate.Demo()
		if err != nil {
			b.Fatal(err)
		}
		result, err := simulate.Run(b.Context(), scenario)
		if err != nil {
			b.Fatal(err)
		}
		path, err := result.Line.Path()
		if err != nil {
			b.Fatal(err)
		}
		line := Line{Path: path, Load: result.Line.Load}
		for b.Loop() {
			find(b, result.Sweep.FrequencyHz, result.Sweep.Gamma, line)
		}
	})
	b.Run("plain", func(b *testing.B) {
		f, gamma, line := longLine(b, 1001)
		for b.Loop() {
			find(b, f, gamma, line)
		}
	})
}

// BenchmarkFindGrowth shows how time and memory grow with the points.
func BenchmarkFindGrowth(b *testing.B) {
	for _, n := range []int{1001, 3001, 10001, 30001, 100001} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			f, gamma, line := longLine(b, n)
			b.ReportAllocs()
			for b.Loop() {
				find(b, f, gamma, line)
			}
		})
	}
}

func longLine(b *testing.B, n int) ([]float64, []complex128, Line) {
	f, line := grid(n, 25e6, 1200e6), plain(b, 0.88, 60)
	rng := rand.New(rand.NewPCG(50, 1))
	line.Load = cables.Load{Kind: cables.Termination, ReturnLossDB: 26}
	gamma := build(line.Path, f, []part{{2.5, inductance(0.4e-9)}, {31, resistance(8)}, {52, capacitance(0.4e-12)}}, matched)
	return f, noisy(gamma, 1e-4, rng), line
}
