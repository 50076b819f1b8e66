package desk

import (
	"image"
	"strings"
	"testing"

	"downlead/dsp/diagnose"
	"downlead/ui/investigation"
)

// The earlier sweep is compared with in words at the head of the findings; an
// entry shows its place, and the difference is drawn along the line.
func TestComparisonIsShown(t *testing.T) {
	g := demoRig(t, image.Pt(1440, 900))
	d := g.desk
	if title, _ := d.answer(); title != "Since the earlier sweep" {
		t.Errorf("title %q", title)
	}
	all, along := d.plots.over.View(0), 0
	g.click("new at 50.0")
	if d.compared.chosen != 0 || d.selected < 0 || d.plots.over.View(0) == all {
		// the fault was selected before, and stays so
		t.Errorf("entry %d, finding %d", d.compared.chosen, d.selected)
	}
	count := func() int {
		n := 0
		over, _ := d.contents()
		for _, trace := range over.Traces {
			if strings.Contains(trace.Name, "the difference from the earlier sweep") {
				n++
			}
		}
		return n
	}
	along = count()
	g.click("difference")
	g.settlePicture()
	if along != 0 || count() != 1 {
		t.Errorf("%d and then %d traces of the difference", along, count())
	}
	g.click("difference")
	g.settlePicture()
	if count() != 0 {
		t.Error("the difference stays")
	}
}

// A sweep from before a repair is no measure of a healthy line: what is as it was
// is then not built so, and the answer is about the repair.
func TestEarlierFromBeforeARepair(t *testing.T) {
	g := demoRig(t, image.Pt(1440, 900))
	d := g.desk
	if of := d.diagnosedOf; of.baseline == nil {
		t.Fatal("the healthy line is not the baseline")
	}
	g.click("it is from before a repair")
	if d.document().Earlier != investigation.BeforeRepair || d.diagnosedOf.baseline != nil {
		t.Errorf("%v, baseline %v", d.document().Earlier, d.diagnosedOf.baseline)
	}
	d.diagnosis.Stop()
	for outcome, want := range map[diagnose.Outcome]string{diagnose.Repaired: "Repaired: yes", diagnose.PartlyRepaired: "Repaired: partly", diagnose.NotRepaired: "Repaired: no", diagnose.CannotBeSaid: "Repaired: cannot be said"} {
		d.setComparison(&diagnose.Comparison{Repair: outcome}, nil)
		if got, _ := d.answer(); got != want {
			t.Errorf("%s reads %q", outcome, got)
		}
	}
	d.undo()
	if d.document().Earlier != investigation.Healthy || d.diagnosedOf.baseline == nil {
		t.Error("undo leaves the earlier sweep as it was said to be")
	}
	d.diagnosis.Stop()
}
