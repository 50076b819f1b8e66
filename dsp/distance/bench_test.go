package distance

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"downlead/cables"
)

// chirpScript plans scipy.signal.CZT for n points and m places of the angle
// given, transforms the complex numbers on standard input, writes the result
// to the file given, and prints the least time of a transform in seconds.
const chirpScript = `
import sys, time
import numpy as np
from scipy.signal import CZT
n, m, angle = int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])
x = np.frombuffer(sys.stdin.buffer.read(), dtype='<c16')
plan = CZT(n, m, w=np.exp(1j * angle))
y = plan(x)
times = []
for _ in range(int(sys.argv[5])):
    start = time.perf_counter()
    plan(x)
    times.append(time.perf_counter() - start)
y.astype('<c16').tofile(sys.argv[4])
print(min(times))
`

// scipyChirp returns Σ_k x_k·e^{+j·angle·k·n}, n = 0...places-1, by scipy, and the
// least time of rounds planned transforms. It skips where there is no
// Python with scipy.
func scipyChirp(t testing.TB, x []complex128, places int, angle float64, rounds int) ([]complex128, float64) {
	t.Helper()
	python := ""
	for _, candidate := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(candidate, "-c", "import scipy.signal; scipy.signal.CZT").Run() == nil {
			python = candidate
			break
		}
	}
	if python == "" {
		t.Skip("SKIPPED, NOT CHECKED: no python3 with scipy.signal.CZT (Debian: apt-get install python3-scipy)")
	}
	var input bytes.Buffer
	if err := binary.Write(&input, binary.LittleEndian, x); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "chirp.bin")
	command := exec.Command(python, "-c", chirpScript, fmt.Sprint(len(x)), fmt.Sprint(places), strconv.FormatFloat(angle, 'g', 17, 64), file, fmt.Sprint(rounds))
	command.Stdin = &input
	command.Env = append(os.Environ(), "OMP_NUM_THREADS=1", "OPENBLAS_NUM_THREADS=1")
	out, err := command.Output()
	if err != nil {
		t.Fatalf("scipy: %v", err)
	}
	seconds, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	y := make([]complex128, places)
	if err := binary.Read(bytes.NewReader(data), binary.LittleEndian, y); err != nil {
		t.Fatal(err)
	}
	return y, seconds
}

// scipy.signal.CZT on a lossless line: P(x_n) is its chirp-z sum turned by the
// phase of the first frequency. Within 1e-10 of full scale.
func TestProfileAgainstScipyChirp(t *testing.T) {
	const points, places, toM, velocityFactor = 2001, 4001, 60.0, 0.88
	grid := uniform(500e6, 2500e6, points)
	transform, err := New(onePath(cables.Medium{ImpedanceOhm: 50, VelocityFactor: velocityFactor}, 55), grid, Settings{ToM: toM, Points: places})
	if err != nil {
		t.Fatal(err)
	}
	gamma := randomGamma(8, points)
	weighted := make([]complex128, points)
	for k, g := range gamma {
		weighted[k] = g * complex(transform.Weights()[k], 0)
	}
	phase := 4 * math.Pi * (toM / (places - 1)) / (cables.SpeedOfLight * velocityFactor) // per Hz and place
	want, _ := scipyChirp(t, weighted, places, phase*1e6, 1)
	worst := 0.0
	for n, p := range transform.Profile(nil, gamma).Amplitude {
		turned := want[n] * cmplx.Exp(complex(0, phase*500e6*float64(n)))
		worst = max(worst, cmplx.Abs(p-turned))
	}
	if worst > 1e-10 {
		t.Errorf("%.2g from scipy.signal.CZT, want 1e-10", worst)
	}
}

// BenchmarkProfile: 2001 points to 4001 places. The metric ratio is the time over
// that of scipy's planned chirp-z transform of the same size in the same run, each
// the least of many rounds, which other work on the machine disturbs little.
func BenchmarkProfile(b *testing.B) {
	const points, places = 2001, 4001
	grid := uniform(500e6, 2500e6, points)
	gamma := randomGamma(8, points)
	for _, c := range []struct {
		name string
		path *cables.Path
	}{
		{"lossless", onePath(cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.88}, 55)},
		{"lossy", onePath(mustPath(b, feederLine(true)).Spans[2].Medium, 55)},
		{"lossy-sections", mustPath(b, feederLine(true))},
	} {
		b.Run(c.name, func(b *testing.B) {
			transform, err := New(c.path, grid, Settings{ToM: 60, Points: places})
			if err != nil {
				b.Fatal(err)
			}
			_, reference := scipyChirp(b, gamma, places, 1e-3, 2000)
			dst := make([]complex128, places)
			least := math.Inf(1)
			for b.Loop() {
				start := time.Now()
				transform.Profile(dst, gamma)
				least = min(least, time.Since(start).Seconds())
			}
			b.ReportMetric(least/reference, "ratio")
			b.ReportMetric(least*1e6, "least-µs")
			b.ReportMetric(reference*1e6, "scipy-µs")
		})
	}
}

// BenchmarkProfileSize shows how time and memory grow; N log N at a fixed ratio of
// places to points. The metrics are nanoseconds for each N·log2(N), and the bytes
// that planning allocates for each point.
func BenchmarkProfileSize(b *testing.B) {
	for _, points := range []int{1001, 10001, 100001} {
		b.Run(fmt.Sprint(points), func(b *testing.B) {
			grid := uniform(500e6, 2500e6, points)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			transform, err := New(onePath(cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.88}, 55), grid,
				Settings{ToM: 60 * float64(points) / 2001, Points: 2 * points})
			if err != nil {
				b.Fatal(err)
			}
			runtime.ReadMemStats(&after)
			gamma, dst := randomGamma(8, points), make([]complex128, 2*points)
			for b.Loop() {
				transform.Profile(dst, gamma)
			}
			n := float64(points)
			b.ReportMetric(float64(after.TotalAlloc-before.TotalAlloc)/float64(points), "plan-B/point")
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(n*math.Log2(n)), "ns/NlogN")
		})
	}
}

// BenchmarkNew: what planning costs.
func BenchmarkNew(b *testing.B) {
	path, grid := mustPath(b, feederLine(true)), uniform(500e6, 2500e6, 2001)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := New(path, grid, Settings{ToM: 60, Points: 4001}); err != nil {
			b.Fatal(err)
		}
	}
}
