package tables

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/BurntSushi/toml"
)

func TestNumbersReadBack(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		x := math.Float64frombits(random.Uint64())
		if random.IntN(2) == 0 {
			x = math.Round(random.Float64()*1e5) * math.Pow(10, float64(random.IntN(12)-4))
		}
		if math.IsNaN(x) || math.IsInf(x, 0) {
			continue
		}
		for _, text := range []string{FormatNumber(x), FormatHertz(x)} {
			var back struct{ X float64 }
			if _, err := toml.Decode("X = "+text, &back); err != nil || back.X != x {
				t.Fatalf("%g is written %s and reads %g, %v", x, text, back.X, err)
			}
		}
	}
	for f, want := range map[float64]string{824e6: "824e6", 1.8e9: "1800e6", 1e5: "0.1e6", 880.2e6: "880.2e6"} {
		if got := FormatHertz(f); got != want {
			t.Errorf("%g Hz is written %s, want %s", f, got, want)
		}
	}
}
