package desk

import (
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"testing"
	"time"

	"gioui.org/io/key"

	"downlead/dsp/simulate"
	"downlead/ui/chart"
	"downlead/ui/investigation"
	"downlead/ui/rig"
	"downlead/ui/traces"
)

var update = flag.Bool("update", false, "write the pictures of the user guide anew instead of comparing with them")

// pictures are the main states of the window. They are the pictures of the user
// guide as well, so that the guide shows what the program really draws.
var pictures = []struct {
	name string
	size image.Point
	dark bool
	make func(g *deskRig)
}{
	{"first-run", image.Pt(1440, 900), false, func(g *deskRig) {}},
	{"finding", image.Pt(1440, 900), false, func(g *deskRig) {
		g.desk.hints, g.desk.selected = false, -1
		g.desk.choosePlace(0)
	}},
	{"dark", image.Pt(1440, 900), true, func(g *deskRig) { g.desk.hints, g.desk.views.stacked = false, true }},
	{"smith", image.Pt(1440, 900), false, func(g *deskRig) {
		g.desk.hints = false
		g.desk.views.frequency, g.desk.views.along = traces.Smith, traces.VSWRAlong
		doc := g.desk.document()
		doc.BandHz = [2]float64{880e6, 915e6}
		g.desk.change(doc, "band", "")
		g.desk.strip.stale = true
	}},
	{"stretch", image.Pt(1440, 900), false, func(g *deskRig) {
		g.desk.hints = false
		g.desk.plots.over.SetBrush(chart.Lower, 49, 51)
		g.desk.plots.along.SetBrush(chart.Lower, 49, 51)
	}},
	{"finding-dark", image.Pt(1280, 720), true, func(g *deskRig) {
		g.desk.hints, g.desk.selected = false, -1
		g.desk.choosePlace(0)
	}},
	{"stretch-dark", image.Pt(1280, 720), true, func(g *deskRig) {
		g.desk.hints = false
		g.desk.plots.over.SetBrush(chart.Lower, 49, 51)
	}},
	{"small", image.Pt(1280, 720), false, func(g *deskRig) { g.desk.hints = false }},
	{"large", image.Pt(2560, 1440), false, func(g *deskRig) {
		g.desk.hints = false
		g.desk.chooseSection(1)
	}},
	{"files", image.Pt(1280, 720), true, func(g *deskRig) {
		g.desk.hints = false
		g.desk.browse(pickSweep)
		g.desk.browser.folder = "site"
		g.desk.browser.rows = []browserRow{{name: "one folder up", path: "..", folder: true}, {name: "commissioning", folder: true}, {name: "sector-2.s1p"}, {name: "sector-3.s1p"}}
	}},
	{"saving", image.Pt(1280, 720), false, func(g *deskRig) {
		d := g.desk
		d.hints = false
		doc := d.document()
		doc.Site, doc.Date, doc.Operator, doc.Notes = "Quillbarrow mast, sector 2", "4 May 2031", "night crew", "Alarm since the rain of Tuesday.\nWeatherproofing at the top looked torn from the ground."
		d.change(doc, "write the notes", "")
		d.file.path = "quillbarrow-2.toml"
		d.about.open, d.about.stale = true, true
		d.offer(investigation.Recovery{Of: "/sites/fernhollow/yard.toml", At: time.Date(2031, 5, 3, 17, 12, 0, 0, time.Local)})
		g.frame()
		g.frame()
		d.unlessChanged("Open yard.toml?", nil)
	}},
	{"repaired", image.Pt(1440, 900), false, func(g *deskRig) {
		d := g.desk
		d.hints = false
		doc := d.document()
		doc.Sweep, doc.Baseline, doc.Earlier = doc.Baseline, doc.Sweep, investigation.BeforeRepair
		d.change(doc, "after the repair", "")
		g.settle()
		d.plots.showLeft, d.plots.showModel = true, false
		d.chooseEntry(0)
	}},
	{"bench", image.Pt(1440, 900), false, func(g *deskRig) { benchWithFaults(g) }},
	{"bench-dark", image.Pt(1280, 720), true, func(g *deskRig) { benchWithFaults(g, key.NameF2, key.NameF3, key.NameF4) }},
	{"lesson", image.Pt(1280, 720), false, func(g *deskRig) {
		g.desk.goTeaching()
		g.frame()
		g.click("Lessons")
		g.frame()
		g.click("lesson: Water in a connector")
		g.settle()
		g.frame(key.Event{Name: key.NamePageDown, State: key.Press})
	}},
	{"blind", image.Pt(1280, 720), false, func(g *deskRig) {
		g.desk.goTeaching()
		g.frame()
		g.click("Blind case")
		g.settle()
		field, _ := g.Find("number of the case")
		g.ClickAt(rig.Middle(field))
		g.frame(key.EditEvent{Text: "12"})
		g.frame(key.Event{Name: key.NameReturn, State: key.Press})
		g.settle()
		line, _ := g.Find("the line with the tray")
		g.ClickAt(rig.Middle(line).Add(image.Pt(51, 0)))
		g.click("which cause?")
		g.click("cause: poor contact")
		g.click("answer")
	}},
	{"keys", image.Pt(1280, 720), false, func(g *deskRig) { g.desk.hints, g.desk.help.open = false, true }},
}

// benchWithFaults shows the bench with three faults, and what the keys switch on.
func benchWithFaults(g *deskRig, keys ...key.Name) {
	g.desk.goTeaching()
	b := g.desk.teach.bench
	setup := b.Setup()
	setup.Faults = []simulate.Fault{{Cause: "water-in-connector", DistanceM: 50.01, SeriesOhm: 0.5, ShuntSiemens: 8e-3, ShuntFarad: 2e-12, LossTangent: 0.05},
		{Cause: "dent-or-kink", DistanceM: 14.2, ExtentM: 0.1, ImpedanceOhm: 33}, {Cause: "water-in-cable", DistanceM: 27, ExtentM: 4, ImpedanceDrop: 0.12, LossTangent: 0.02}}
	b.Begin(setup)
	g.frame()
	for _, name := range append(keys, key.NameF6, key.NameF6) {
		g.frame(key.Event{Name: name, State: key.Press})
		g.frame(key.Event{Name: name, State: key.Release})
	}
}

// folder of the pictures
const guidePictures = "../../docs/pictures"

func TestPictures(t *testing.T) {
	if testing.Short() {
		t.Skip("draws many pictures")
	}
	for _, p := range pictures {
		t.Run(p.name, func(t *testing.T) {
			g := demoRig(t, p.size)
			g.desk.look.dark = p.dark
			p.make(g)
			g.desk.refresh()
			g.settle()
			got := g.Picture()
			path := filepath.Join(guidePictures, p.name+".png")
			if *update {
				writePicture(t, path, got)
				return
			}
			want, err := readPicture(path)
			if err != nil {
				t.Fatalf("%v; go test ./ui/desk -run Pictures -update writes it", err)
			}
			if wrong, err := differ(want, got); err != nil || wrong > 0.01 {
				dir := filepath.Join(os.TempDir(), "downlead-pictures")
				writePicture(t, filepath.Join(dir, p.name+"-got.png"), got)
				writePicture(t, filepath.Join(dir, p.name+"-difference.png"), difference(want, got))
				t.Errorf("%.2f %% of the picture differs (%v): see %s", 100*wrong, err, dir)
			}
		})
	}
}

func writePicture(t *testing.T, path string, img image.Image) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(f, img); err != nil {
		t.Fatal(err)
	}
}

func readPicture(path string) (image.Image, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return png.Decode(f)
}

// far says whether two pixels differ by more than the edges of letters and lines
// do from one renderer to another.
func far(a, b color.Color) bool {
	r1, g1, b1, _ := a.RGBA()
	r2, g2, b2, _ := b.RGBA()
	off := func(x, y uint32) bool { return max(x, y)-min(x, y) > 0x3000 }
	return off(r1, r2) || off(g1, g2) || off(b1, b2)
}

// differ is the share of pixels that are far apart.
func differ(want, got image.Image) (float64, error) {
	if want.Bounds() != got.Bounds() {
		return 1, fmt.Errorf("the sizes are %v and %v", want.Bounds(), got.Bounds())
	}
	n, b := 0, want.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if far(want.At(x, y), got.At(x, y)) {
				n++
			}
		}
	}
	return float64(n) / float64(b.Dx()*b.Dy()), nil
}

// difference is the picture of where two pictures are far apart.
func difference(want, got image.Image) image.Image {
	b := want.Bounds().Intersect(got.Bounds())
	out := image.NewGray(b)
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if far(want.At(x, y), got.At(x, y)) {
				out.SetGray(x, y, color.Gray{255})
			}
		}
	}
	return out
}

// The comparison notices a changed panel and overlooks a changed shade.
func TestDiffer(t *testing.T) {
	a, b := image.NewRGBA(image.Rect(0, 0, 100, 100)), image.NewRGBA(image.Rect(0, 0, 100, 100))
	for i := range a.Pix {
		a.Pix[i], b.Pix[i] = 200, 210
	}
	if d, _ := differ(a, b); d != 0 {
		t.Errorf("a shade counts as %g", d)
	}
	for y := range 20 {
		for x := range 10 {
			b.Set(x, y, color.Black)
		}
	}
	if d, _ := differ(a, b); d != 0.02 {
		t.Errorf("200 pixels of 10000 count as %g", d)
	}
	if _, err := differ(a, image.NewRGBA(image.Rect(0, 0, 5, 5))); err == nil {
		t.Error("another size is no difference")
	}
}
