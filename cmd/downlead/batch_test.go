package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"downlead/ui/batch"
)

// sweepsFolder is the demonstration's faulty and healthy sweep of three masts, and
// a file that is cut off.
func sweepsFolder(t *testing.T) (folder, line string) {
	t.Helper()
	site := demoSite(t)
	folder = t.TempDir()
	for _, mast := range []string{"mast1", "mast2", "mast3"} {
		if err := os.Mkdir(filepath.Join(folder, mast), 0o777); err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{"sweep.s1p", "baseline.s1p"} {
			copyFile(t, filepath.Join(site, name), filepath.Join(folder, mast, name))
		}
	}
	copyFile(t, filepath.Join(site, "line.toml"), filepath.Join(folder, "mast1", "line.toml"))
	if err := os.WriteFile(filepath.Join(folder, "mast3", "cut.s1p"), []byte("# Hz S RI R 50\n1e6 0.1 0.1\n2e6 0."), 0o666); err != nil {
		t.Fatal(err)
	}
	return folder, filepath.Join(site, "line.toml")
}

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	text, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, text, 0o666); err != nil {
		t.Fatal(err)
	}
}

func TestBatch(t *testing.T) {
	folder, line := sweepsFolder(t)
	record, table := filepath.Join(t.TempDir(), "r.jsonl"), filepath.Join(t.TempDir(), "r.csv")
	words := []string{"batch", folder, "--line", line, "--quick", "--out", record, "--csv", table, "--top", "4"}
	got := call(t, words...)
	if got.status != statusFault || got.stderr != "" {
		t.Fatalf("%+v", got)
	}
	for _, want := range []string{"7 sweeps\n", "  PASS           3\n", "  OUT OF LIMIT   3\n", "  NOT USABLE     1, see below\n", "and 2 less bad", "cut.s1p:3:1: "} {
		if !strings.Contains(got.stdout, want) {
			t.Errorf("%q is missing in\n%s", want, got.stdout)
		}
	}
	if !strings.Contains(strings.Split(got.stdout, "\n")[8], "mast1/sweep.s1p") {
		t.Errorf("the worst does not come first:\n%s", got.stdout)
	}
	file, err := os.Open(table)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) != 8 || !slices.Equal(rows[0], batch.Columns()) {
		t.Errorf("%v, %v", rows, err)
	}
	// Nothing is judged twice, and the table is the same.
	again := call(t, words...)
	if again.status != statusFault || again.stdout != got.stdout || again.stderr != "7 of 7 sweeps are in "+record+" already, 0 to judge\n" {
		t.Errorf("%+v", again)
	}
	// Only what passes: status 0. Only what is broken: status 2.
	if got := call(t, "batch", "--quick", filepath.Join(folder, "mast1", "baseline.s1p")); got.status != statusPasses || got.stderr != "" {
		t.Errorf("%+v", got)
	}
	if got := call(t, "batch", filepath.Join(folder, "mast3", "cut.s1p"), "--line", line); got.status != statusUnusable || got.stderr != "" || !strings.Contains(got.stdout, "NOT USABLE     1") {
		t.Errorf("%+v", got)
	}
}

// Shards judged apart and put together are one run.
func TestBatchShardsMakeTheWhole(t *testing.T) {
	folder, line := sweepsFolder(t)
	results := t.TempDir()
	words := []string{"batch", folder, "--line", line, "--quick"}
	whole := call(t, words...)
	var parts []string
	for _, shard := range []string{"1/3", "2/3", "3/3"} {
		part := filepath.Join(results, shard[:1]+".jsonl")
		parts = append(parts, part)
		if got := call(t, append(words, "--shard", shard, "--out", part)...); got.stderr != "" {
			t.Errorf("%s: %+v", shard, got)
		}
	}
	joined := filepath.Join(results, "all.jsonl")
	got := call(t, append([]string{"batch", "--merge", "--out", joined}, parts...)...)
	if got != whole {
		t.Errorf("put together: %+v, in one: %+v", got, whole)
	}
	// Simply one behind the other does as well.
	var text []byte
	for _, part := range parts {
		more, err := os.ReadFile(part)
		if err != nil {
			t.Fatal(err)
		}
		text = append(text, more...)
	}
	if got := call(t, "batch", "--merge", file(t, "cat.jsonl", string(text))); got != whole {
		t.Errorf("one behind the other: %+v", got)
	}
	if n := strings.Count(string(text), "\n"); n != 7 {
		t.Errorf("the shards have %d rows, not 7", n)
	}
}

func TestBatchJSON(t *testing.T) {
	folder, _ := sweepsFolder(t)
	got := call(t, "batch", filepath.Join(folder, "mast1"), "--json")
	rows := strings.Split(strings.TrimSuffix(got.stdout, "\n"), "\n")
	if got.status != statusFault || got.stderr != "" || len(rows) != 2 {
		t.Fatalf("%+v", got)
	}
	for i, want := range []batch.Outcome{batch.Passes, batch.OutOfLimit} {
		var keys map[string]any
		if err := json.Unmarshal([]byte(rows[i]), &keys); err != nil {
			t.Fatal(err)
		}
		for _, key := range []string{"schema", "path", "bytes", "modified", "line", "judged_by", "outcome", "points", "verdict", "margin_db", "faults", "runtime_s"} {
			if _, has := keys[key]; !has {
				t.Errorf("row %d lacks %s", i, key)
			}
		}
		if faults, list := keys["faults"].([]any); keys["outcome"] != string(want) || !list || (len(faults) > 0) != (want == batch.OutOfLimit) {
			t.Errorf("row %d: %s", i, rows[i])
		}
	}
}

func TestBatchKeepsWhatItHasWhenStopped(t *testing.T) {
	folder, line := sweepsFolder(t)
	record := filepath.Join(t.TempDir(), "r.jsonl")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var stdout, stderr bytes.Buffer
	status := run(ctx, []string{"batch", folder, "--line", line, "--out", record}, &stdout, &stderr)
	if want := "downlead batch: stopped before the end; " + record + " keeps what was judged, and the same call goes on from there\n"; status != statusUnusable || stderr.String() != want || stdout.Len() > 0 {
		t.Errorf("status %d, %q, %q", status, stderr.String(), stdout.String())
	}
	status = run(ctx, []string{"batch", folder, "--line", line}, &stdout, &stderr)
	if status != statusUnusable || !strings.HasSuffix(stderr.String(), "\ndownlead: stopped before the end; nothing was written\n") {
		t.Errorf("without a record: status %d, %q", status, stderr.String())
	}
}

func TestBatchWrongCalls(t *testing.T) {
	folder, line := sweepsFolder(t)
	sweepFile := filepath.Join(folder, "mast1", "sweep.s1p")
	other := file(t, "notes", "Dear all,\n")
	for _, c := range []struct {
		want  string
		words []string
	}{
		{"say which sweeps: a folder, a pattern, a list, or sweep files; usage: downlead batch DIR|PATTERN|LIST|SWEEP... [options]", nil},
		{`--shard: "0/3" is not a share of the work; write for example 3/8 for the third of eight, the first is 1/8`, []string{folder, "--shard", "0/3"}},
		{`--top: "many" is not a number from 1 on`, []string{folder, "--top", "many"}},
		{"--out " + sweepFile + ": a record is no sweep, so its name must not end like one; write for example --out result.jsonl", []string{folder, "--out", sweepFile, "--force"}},
		{"--csv and --out name the same file", []string{folder, "--out", "x", "--csv", "x"}},
		{sweepFile + " is already there; add --force to replace it, or choose another name", []string{folder, "--csv", sweepFile}},
		{"--merge judges nothing: --line, --quick, --band, --range, --shard and the standards do not go with it", []string{other, "--merge", "--line", line}},
		{other + ":1: this is no row of a record: invalid character 'D' looking for beginning of value; delete the line, or choose another file", []string{folder, "--line", line, "--out", other}},
		{other + ":1: this is no row of a record: invalid character 'D' looking for beginning of value; delete the line, or choose another file", []string{other, "--merge"}},
	} {
		unusable(t, "downlead batch: "+c.want, append([]string{"batch"}, c.words...)...)
	}
	if got := call(t, "batch", folder, "--line", line+"x"); got.status != statusUnusable || !strings.HasPrefix(got.stderr, "downlead batch: reading line: ") {
		t.Errorf("%+v", got)
	}
}

func TestTally(t *testing.T) {
	now := time.Unix(0, 0)
	var b bytes.Buffer
	p := newTally(&b, "sweeps", 400, func() time.Time { return now })
	for range 400 {
		now = now.Add(time.Second)
		p.step()
	}
	p.end()
	rows := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	if len(rows) != 13 || rows[0] != "30 of 400 sweeps, 7 %, 6 min left" || rows[12] != "390 of 400 sweeps, 97 %, 11 s left" {
		t.Errorf("%q", rows)
	}
	b.Reset()
	p = newTally(&b, "sweeps", 4, func() time.Time { return now })
	p.terminal = true
	now = now.Add(time.Hour)
	p.step()
	p.end()
	if want := "\r▕██████░░░░░░░░░░░░░░░░░░▏ 1 of 4 sweeps, 25 %, 3.0 h left (Ctrl-C stops)\x1b[K\r\x1b[K"; b.String() != want {
		t.Errorf("%q", b.String())
	}
}

// Raw sweeps are corrected with the standards of the call before they are judged,
// as locate does; the standards themselves are none of the sweeps, and others are
// another judgement. Without them a raw sweep is marked as what it is.
func TestBatchCorrectsRawSweeps(t *testing.T) {
	site := demoSite(t)
	raw := filepath.Join(site, "raw")
	copyFile(t, filepath.Join(raw, "device.s1p"), filepath.Join(raw, "again.s1p"))
	if err := os.WriteFile(filepath.Join(raw, "scalar.csv"), []byte("MHz frequency,VSWR\n830,1.2\n950,1.3\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	line := filepath.Join(site, "line.toml")
	standards := []string{"--open", filepath.Join(raw, "open.s1p"), "--short", filepath.Join(raw, "short.s1p"), "--load", filepath.Join(raw, "load.s1p"), "--kit", filepath.Join(raw, "kit.toml")}
	record := filepath.Join(t.TempDir(), "r.jsonl")
	words := append([]string{"batch", raw, "--line", line, "--quick", "--out", record}, standards...)
	got := call(t, words...)
	if got.status != statusFault || !strings.Contains(got.stdout, "3 sweeps\n") || !strings.Contains(got.stdout, "OUT OF LIMIT   2\n") || strings.Contains(got.stdout, "CALIBRATED") ||
		!strings.Contains(strings.Join(strings.Fields(got.stdout), " "), "scalar.csv: this sweep has no phase, so it cannot be corrected with the standards") {
		t.Fatalf("%+v", got)
	}
	if again := call(t, words...); !strings.HasPrefix(again.stderr, "3 of 3 sweeps are in ") {
		t.Errorf("the same again: %+v", again)
	}
	one := call(t, append([]string{"locate", filepath.Join(raw, "device.s1p"), "--line", line, "--json"}, standards...)...)
	var found struct {
		Verdict struct {
			WorstVSWR float64 `json:"worst_vswr"`
		} `json:"verdict"`
	}
	if err := json.Unmarshal([]byte(one.stdout), &found); err != nil {
		t.Fatal(err)
	}
	judged := 0
	err := batch.Rows([]string{record}, func(row *batch.Row) error {
		if row.Outcome != batch.Unusable {
			judged++
			if row.Verdict.WorstVSWR != found.Verdict.WorstVSWR || row.Calibration != "corrected" {
				t.Errorf("%s: worst VSWR %g, locate says %g; %s", row.Path, row.Verdict.WorstVSWR, found.Verdict.WorstVSWR, row.Calibration)
			}
		}
		return nil
	})
	if err != nil || judged != 2 {
		t.Errorf("%d rows, %v", judged, err)
	}
	// Without the kit, or without any, it is another judgement.
	if other := call(t, words[:len(words)-2]...); strings.Contains(other.stderr, " already") {
		t.Errorf("without the kit: %+v", other)
	}
	bare := call(t, "batch", filepath.Join(raw, "device.s1p"), filepath.Join(site, "baseline.s1p"), "--line", line, "--quick", "--out", record)
	if !strings.Contains(bare.stdout, "NOT CALIBRATED 1 of them, marked !: raw readings") || strings.Count(bare.stdout, "!") != 2 || strings.Contains(bare.stderr, "2 of 2") {
		t.Errorf("without standards: %+v", bare)
	}
	unusable(t, "downlead batch: the load is missing: correcting needs --open, --short and --load", words[:len(words)-4]...)
}
