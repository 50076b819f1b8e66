package batch

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/cmplx"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"downlead/cables"
	"downlead/dsp/diagnose"
)

const lineText = `name = "test mast"
[[cable]]
id = "foam"
name = "foam"
impedance_ohm = 50.0
velocity_factor = 0.88
velocity_factor_tolerance = 0.01
attenuation_db_per_100m = [[100e6, 2.2], [1000e6, 7.3]]
[[section]]
name = "feeder"
cable = "foam"
length_m = 12.0
[load]
kind = "termination"
return_loss_db = 30.0
[limits]
vswr = 1.5
`

// sweepText is a sweep of that line: its termination, and at 7 m a resistance of
// so many ohms in series.
func sweepText(t testing.TB, seriesOhm float64) string {
	t.Helper()
	line, err := cables.DecodeLine("line.toml", strings.NewReader(lineText))
	if err != nil {
		t.Fatal(err)
	}
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("# Hz S RI R 50\n")
	contact := complex(seriesOhm/(100+seriesOhm), 0)
	for k := range 101 {
		f := 50e6 + 10e6*float64(k)
		g := contact*cmplx.Exp(-2*path.Theta(f, 7)) + 0.025*cmplx.Exp(-2*path.Theta(f, 12))*(1-contact)*(1-contact)
		// The instrument's noise, so that there is a level to detect against.
		g += complex(1e-5*float64((k*7919)%13-6), 1e-5*float64((k*104729)%11-5))
		fmt.Fprintf(&b, "%g %.7f %.7f\n", f, real(g), imag(g))
	}
	return b.String()
}

// write puts a file below folder.
func write(t testing.TB, folder, name, text string) string {
	t.Helper()
	path := filepath.Join(folder, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

// site makes a folder with good, bad and broken sweeps.
func site(t testing.TB) string {
	folder := t.TempDir()
	write(t, folder, "line.toml", lineText)
	write(t, folder, "a/line.toml", lineText)
	write(t, folder, "a/good.s1p", sweepText(t, 0))
	write(t, folder, "a/contact.s1p", sweepText(t, 8))
	write(t, folder, "a/worse.S1P", sweepText(t, 60))
	write(t, folder, "a/cut.s1p", "# Hz S RI R 50\n1e6 0.1 0.1\n2e6 0.1")
	write(t, folder, "b/own.s1p", sweepText(t, 0))
	write(t, folder, "b/own.toml", strings.Replace(lineText, "1.5", "1.01", 1))
	write(t, folder, "b/lonely.s1p", sweepText(t, 0))
	write(t, folder, "b/phaseless.csv", "MHz frequency,VSWR\n100,1.2\n900,1.3\n")
	write(t, folder, "b/.hidden/x.s1p", "")
	write(t, folder, "b/notes.txt", "")
	return folder
}

func found(t *testing.T, operands ...string) []Item {
	t.Helper()
	items, err := Find(operands, strings.NewReader(""))
	if err != nil {
		t.Fatal(err)
	}
	return items
}

func judged(t testing.TB, j *Judge, items []Item, workers int) []*Row {
	t.Helper()
	var rows []*Row
	if err := j.Run(context.Background(), items, workers, func(r *Row) error { rows = append(rows, r); return nil }); err != nil {
		t.Fatal(err)
	}
	return rows
}

func TestFind(t *testing.T) {
	folder := site(t)
	keys := func(items []Item) (out []string) {
		for _, i := range items {
			if _, err := os.Stat(i.Path); err != nil {
				t.Error(err)
			}
			out = append(out, i.Key)
		}
		return out
	}
	all := []string{"a/contact.s1p", "a/cut.s1p", "a/good.s1p", "a/worse.S1P", "b/lonely.s1p", "b/own.s1p", "b/phaseless.csv"}
	if got := keys(found(t, folder)); !slices.Equal(got, all) {
		t.Errorf("folder: %q", got)
	}
	list := write(t, folder, "list.txt", "# chosen\n\na/good.s1p\n  b/own.s1p\r\na/good.s1p\n")
	if got := keys(found(t, list)); !slices.Equal(got, []string{"a/good.s1p", "b/own.s1p"}) {
		t.Errorf("list: %q", got)
	}
	if got := found(t, filepath.Join(folder, "*", "*.s1p"), filepath.Join(folder, "a", "good.s1p")); len(got) != 5 {
		t.Errorf("pattern and a sweep that is in it: %v", got)
	}
	items, err := Find([]string{"-"}, strings.NewReader(filepath.Join(folder, "a", "good.s1p")+"\n"))
	if err != nil || len(keys(items)) != 1 {
		t.Errorf("standard input: %v, %v", items, err)
	}
	empty := t.TempDir()
	bad := write(t, empty, "bad.txt", "a.s1p\nb.doc\n")
	blank := write(t, empty, "blank.txt", "\n#\n")
	for operand, want := range map[string]string{
		empty:                            empty + ": no sweep in this folder or below it: a sweep's name ends in .s1p, .s2p, .ts or .csv",
		bad:                              bad + `:2: "b.doc" is not the name of a sweep: a list has one path a line, ending in .s1p, .s2p, .ts or .csv`,
		blank:                            blank + ": the list names no sweep",
		filepath.Join(empty, "*.s1p"):    filepath.Join(empty, "*.s1p") + ": no sweep has such a name",
		filepath.Join(empty, "gone.txt"): "stat " + filepath.Join(empty, "gone.txt") + ": no such file or directory",
	} {
		if _, err := Find([]string{operand}, nil); err == nil || err.Error() != want {
			t.Errorf("%s: %v, want %s", operand, err, want)
		}
	}
}

// Every item falls to exactly one shard, to the same wherever the folder is, and
// whatever else is in it.
func TestShards(t *testing.T) {
	var here, there []Item
	for i := range 1000 {
		key := fmt.Sprintf("mast%03d/sector%d.s1p", i/3, i%3)
		here, there = append(here, Item{"/mnt/a/" + key, key}), append(there, Item{"/data/" + key, key})
	}
	slices.Reverse(there)
	count := map[string]int{}
	for n := 1; n <= 7; n++ {
		share := Shard{n, 7}
		one, other := Sharded(slices.Clone(here), share), Sharded(slices.Clone(there), share)
		// 1000/7 = 143, standard deviation 11.
		if len(one) < 90 || len(one) > 200 || len(one) != len(other) {
			t.Errorf("shard %d has %d items, and elsewhere %d", n, len(one), len(other))
		}
		for i, item := range one {
			count[item.Key]++
			if other[len(other)-1-i].Key != item.Key {
				t.Fatalf("shard %d differs from place to place", n)
			}
		}
	}
	for key, n := range count {
		if n != 1 {
			t.Errorf("%s falls to %d shards", key, n)
		}
	}
	if len(count) != 1000 {
		t.Errorf("%d items of 1000", len(count))
	}
	for _, text := range []string{"", "3", "0/4", "5/4", "a/b", "1/2/3", "-1/2"} {
		if _, err := ParseShard(text); err == nil {
			t.Errorf("%q was taken for a shard", text)
		}
	}
}

func TestJudgesEverySweepByItsLine(t *testing.T) {
	folder := site(t)
	items := found(t, folder)
	for _, quick := range []bool{false, true} {
		rows := judged(t, &Judge{Quick: quick}, items, 3)
		if len(rows) != len(items) {
			t.Fatalf("%d rows of %d sweeps", len(rows), len(items))
		}
		by := map[string]*Row{}
		for i, row := range rows {
			if row.Path != items[i].Path {
				t.Errorf("row %d is of %s, not %s", i, row.Path, items[i].Path)
			}
			by[items[i].Key] = row
		}
		for key, want := range map[string]Outcome{"a/good.s1p": Passes, "a/contact.s1p": Faulty, "a/worse.S1P": OutOfLimit, "a/cut.s1p": Unusable,
			"b/own.s1p": OutOfLimit, "b/lonely.s1p": Unusable, "b/phaseless.csv": Unusable} {
			if by[key].Outcome != want {
				t.Errorf("quick %t: %s is %s (%s), want %s", quick, key, by[key].Outcome, by[key].Problem, want)
			}
		}
		fault := by["a/contact.s1p"].Faults
		if len(fault) != 1 || fault[0].DistanceM < 6.9 || fault[0].DistanceM > 7.1 || (fault[0].Cause == diagnose.PoorContact) == quick {
			t.Errorf("quick %t: the contact at 7 m is told as %+v", quick, fault)
		}
		if by["b/own.s1p"].Line != filepath.Join(folder, "b", "own.toml") || by["a/good.s1p"].Line != filepath.Join(folder, "a", "line.toml") {
			t.Error("not judged by the line beside it")
		}
		if want := filepath.Join(folder, "a", "cut.s1p") + ":3:1: "; !strings.HasPrefix(by["a/cut.s1p"].Problem, want) {
			t.Errorf("the problem %q does not begin with %q", by["a/cut.s1p"].Problem, want)
		}
		if !strings.Contains(by["b/lonely.s1p"].Problem, "what line is it? put its line file beside it, as lonely.toml or line.toml") {
			t.Errorf("no line: %q", by["b/lonely.s1p"].Problem)
		}
	}
	row := (&Judge{LineFile: filepath.Join(folder, "line.toml")}).Sweep(context.Background(), filepath.Join(folder, "b", "phaseless.csv"))
	if row.Outcome != Passes || row.Verdict.WorstVSWR < 1.299 || row.Verdict.WorstVSWR > 1.301 || !strings.Contains(row.Warnings[0], "no phase") {
		t.Errorf("without phase: %+v", row)
	}
}

// An investigation saved beside its sweep is not taken for its line.
func TestLineBesideAnInvestigation(t *testing.T) {
	folder := site(t)
	write(t, folder, "a/good.toml", "schema = \"downlead/investigation/1\"\n")
	row := (&Judge{Quick: true}).Sweep(context.Background(), filepath.Join(folder, "a", "good.s1p"))
	if row.Outcome != Passes || filepath.Base(row.Line) != "line.toml" {
		t.Errorf("%s by %s: %s", row.Outcome, row.Line, row.Problem)
	}
}

// A stopped run leaves whole rows, and what is broken off at the end is mended;
// the next run does the rest, and what has changed.
func TestResume(t *testing.T) {
	folder := site(t)
	items := found(t, folder)
	record := filepath.Join(folder, "result.jsonl")
	j := &Judge{LineFile: filepath.Join(folder, "line.toml"), Quick: true}
	stop := errors.New("stopped")
	resume := func(most int) (didNow []string) {
		t.Helper()
		r, todo, err := Resume(context.Background(), record, items, j.JudgedBy)
		if err != nil {
			t.Fatal(err)
		}
		err = j.Run(context.Background(), todo, 2, func(row *Row) error {
			if len(didNow) == most {
				return stop
			}
			didNow = append(didNow, filepath.Base(row.Path))
			return r.Add(row)
		})
		if err != nil && err != stop {
			t.Fatal(err)
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		return didNow
	}
	if did := resume(3); len(did) != 3 {
		t.Fatalf("%q", did)
	}
	// Power fails in the fourth row.
	text, err := os.ReadFile(record)
	if err != nil {
		t.Fatal(err)
	}
	third := bytes.LastIndexByte(text[:len(text)-1], '\n') + 1
	if err := os.WriteFile(record, text[:third+40], 0o666); err != nil {
		t.Fatal(err)
	}
	if did := resume(99); !slices.Equal(did, []string{"good.s1p", "worse.S1P", "lonely.s1p", "own.s1p", "phaseless.csv"}) {
		t.Errorf("after the half row: %q", did)
	}
	// A whole row without its line end stays.
	text, _ = os.ReadFile(record)
	if err := os.WriteFile(record, text[:len(text)-1], 0o666); err != nil {
		t.Fatal(err)
	}
	if did := resume(99); len(did) != 0 {
		t.Errorf("with nothing to do: %q", did)
	}
	// Changed in size, and changed in nothing but time.
	write(t, folder, "a/good.s1p", sweepText(t, 8)+"! again\n")
	own := filepath.Join(folder, "b", "own.s1p")
	if err := os.Chtimes(own, time.Time{}, time.Now().Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if did := resume(99); !slices.Equal(did, []string{"good.s1p", "own.s1p"}) {
		t.Errorf("after two changed: %q", did)
	}
	// Other settings, or another line: all again, and still one row each.
	j = &Judge{LineFile: j.LineFile, Quick: true, Settings: diagnose.Settings{RangeM: 11}}
	if did := resume(99); len(did) != len(items) {
		t.Errorf("with other settings: %q", did)
	}
	var outcomes []Outcome
	paths := map[string]bool{}
	if err := Rows([]string{record}, func(r *Row) error { outcomes = append(outcomes, r.Outcome); paths[r.Path] = true; return nil }); err != nil {
		t.Fatal(err)
	}
	if len(outcomes) != len(items) || len(paths) != len(items) || strings.Count(string(must(os.ReadFile(record))), "\n") != len(items) {
		t.Errorf("%d rows of %d sweeps: %q", len(outcomes), len(items), outcomes)
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func TestResumeLeavesOtherFilesAlone(t *testing.T) {
	folder := t.TempDir()
	for name, text := range map[string]string{
		"a sweep":         "# Hz S RI R 50\n1e6 0.1 0.1\n",
		"a text":          "Dear all,",
		"other JSON":      "{\"schema\":\"other\"}\n",
		"half other JSON": "{\"schema\":\"other",
	} {
		path := write(t, folder, "file", text)
		if _, _, err := Resume(context.Background(), path, nil, nil); err == nil {
			t.Errorf("%s was taken for a record", name)
		}
		if got := string(must(os.ReadFile(path))); got != text {
			t.Errorf("%s became %q", name, got)
		}
	}
}

// Of several rows of a sweep the last counts, whichever record it is in.
func TestRowsOfSeveralRecords(t *testing.T) {
	folder := t.TempDir()
	row := func(path, problem string) string {
		return string(must((&Row{Schema: Schema, Path: path, Outcome: Unusable, Problem: problem}).line()))
	}
	one := write(t, folder, "1.jsonl", row("a", "old")+row("b", "only"))
	two := write(t, folder, "2.jsonl", row("c", "only")+row("a", "new")+`{"schema":"downlead/ba`)
	var got []string
	each := func(r *Row) error { got = append(got, r.Path+" "+r.Problem); return nil }
	if err := Rows([]string{one, two}, each); err != nil || !slices.Equal(got, []string{"b only", "c only", "a new"}) {
		t.Errorf("%q, %v", got, err)
	}
	joined := filepath.Join(folder, "3.jsonl")
	if err := WriteRecord(context.Background(), joined, []string{one, two}); err != nil {
		t.Fatal(err)
	}
	got = nil
	if err := Rows([]string{joined}, each); err != nil || len(got) != 3 {
		t.Errorf("%q, %v", got, err)
	}
	bad := write(t, folder, "4.jsonl", row("a", "x")+"nonsense\n"+row("b", "x"))
	if err := Rows([]string{bad}, each); err == nil || !strings.HasPrefix(err.Error(), bad+":2: this is no row of a record: ") {
		t.Errorf("%v", err)
	}
}

func TestCancelEndsARun(t *testing.T) {
	folder := site(t)
	ctx, cancel := context.WithCancel(context.Background())
	n := 0
	err := (&Judge{LineFile: filepath.Join(folder, "line.toml"), Quick: true}).Run(ctx, found(t, folder), 2, func(*Row) error {
		n++
		cancel()
		return nil
	})
	if !errors.Is(err, context.Canceled) || n != 1 {
		t.Errorf("%d rows, %v", n, err)
	}
}

// A run holds no rows, and of files no more than it says.
func TestMemoryIsFlat(t *testing.T) {
	const files = 3000
	folder := t.TempDir()
	write(t, folder, "line.toml", lineText)
	first := write(t, folder, "s0000.csv", "MHz frequency,VSWR\n100,1.2\n900,1.3\n")
	for i := 1; i < files; i++ {
		if err := os.Link(first, filepath.Join(folder, fmt.Sprintf("s%04d.csv", i))); err != nil {
			t.Skip("this file system has no hard links:", err)
		}
	}
	heap := func() int64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return int64(m.HeapAlloc)
	}
	before := heap()
	items := found(t, folder)
	j := &Judge{LineFile: filepath.Join(folder, "line.toml")}
	record, todo, err := Resume(context.Background(), filepath.Join(folder, "r.jsonl"), items, j.JudgedBy)
	if err != nil {
		t.Fatal(err)
	}
	if perFile := (heap() - before) / files; perFile > 600 {
		t.Errorf("%d bytes a file are held before the run", perFile)
	}
	summary := &Summary{Top: 20}
	rows, early, late := 0, int64(0), int64(0)
	err = j.Run(context.Background(), todo, 2, func(r *Row) error {
		if rows++; rows == files/8 {
			early = heap()
		} else if rows == files {
			late = heap()
		}
		summary.Add(r)
		return record.Add(r)
	})
	if err := errors.Join(err, record.Close()); err != nil {
		t.Fatal(err)
	}
	// A row is half a kilobyte; what comes and goes is bounded by heldPerWorker.
	if grown := late - early; grown > files*7/8*50 {
		t.Errorf("the heap grew by %d bytes over %d rows", grown, files*7/8)
	}
	if summary.Counts[Passes] != files || len(summary.Worst()) != 20 {
		t.Errorf("%v", summary.Counts)
	}
	runtime.KeepAlive(items)
}

func TestSummaryOrder(t *testing.T) {
	db := func(v float64) *float64 { return &v }
	row := func(path string, o Outcome, margin *float64, faultDB ...float64) *Row {
		r := &Row{Path: path, Outcome: o, MarginDB: margin}
		for _, f := range faultDB {
			r.Faults = append(r.Faults, Fault{ReturnLossDB: f})
		}
		return r
	}
	s := &Summary{Top: 6}
	for _, r := range []*Row{row("i", Unusable, nil), row("g", Passes, nil), row("f", Passes, db(3)), row("e", Passes, db(0.1)), row("d", Faulty, db(0.2), 30),
		row("c", Faulty, nil, 20), row("b", OutOfLimit, db(-1)), row("a", OutOfLimit, db(-3)), row("h", Unusable, nil)} {
		s.Add(r)
	}
	var got string
	for _, r := range slices.Concat(s.Worst(), s.Broken()) {
		got += r.Path
	}
	if got != "abcdefhi" {
		t.Errorf("%q", got)
	}
}
