package report

import (
	"fmt"
	"strings"
	"testing"
)

// Nothing is drawn over the left and the right margin of a page, the bar of a finding that may
// be anywhere on the line included.
func TestNothingIsDrawnOverTheMargins(t *testing.T) {
	in := input(t)
	for i := range in.Findings.Findings {
		f := &in.Findings.Findings[i]
		if f.IsFault {
			f.DistanceM, f.ExtentM, f.SigmaM = 0, 40, 200
		}
	}
	pages, _ := outside(t, made(t, in, Style{}), "pdftoppm", "-gray", "-r", "36", "FILE")
	white := string([]byte{255})
	count := 0
	for ; pages != ""; count++ {
		var wide, high, most int
		if _, err := fmt.Sscanf(pages, "P5\n%d %d\n%d", &wide, &high, &most); err != nil {
			t.Fatal(err)
		}
		head := len(fmt.Sprintf("P5\n%d %d\n%d\n", wide, high, most))
		grey := pages[head : head+wide*high]
		for row := range high {
			line := grey[row*wide : (row+1)*wide]
			if margin := line[:wide/20] + line[wide-wide/20:]; strings.Count(margin, white) < len(margin) {
				t.Fatalf("page %d: something is drawn over a margin, %.0f %% from the top", count+1, 100*float64(row)/float64(high))
			}
		}
		pages = pages[head+wide*high:]
	}
	if count < 2 {
		t.Errorf("%d pages were looked at", count)
	}
}
