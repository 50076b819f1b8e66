package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"downlead/dsp/diagnose"
	"downlead/ui/investigation"
)

// savedSite saves an investigation of a demo site, raw with its standards and with
// the earlier sweep.
func savedSite(t *testing.T, folder string) string {
	t.Helper()
	var d investigation.Document
	for _, one := range []struct {
		name string
		into *investigation.Source
	}{{"raw/device.s1p", &d.Sweep}, {"baseline.s1p", &d.Baseline}, {"raw/open.s1p", &d.Standards.Open}, {"raw/short.s1p", &d.Standards.Short}, {"raw/load.s1p", &d.Standards.Load}} {
		var err error
		if *one.into, err = investigation.ReadSweep(filepath.Join(folder, one.name)); err != nil {
			t.Fatal(err)
		}
	}
	var err error
	d.Standards.KitPath, d.LinePath = filepath.Join(folder, "raw", "kit.toml"), filepath.Join(folder, "line.toml")
	if d.Standards.Kit, d.Standards.KitSHA256, err = investigation.ReadKit(d.Standards.KitPath); err != nil {
		t.Fatal(err)
	}
	if d.Line, d.LineSHA256, err = investigation.ReadLine(d.LinePath); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(folder, "site.toml")
	if _, err := investigation.Save(path, d); err != nil {
		t.Fatal(err)
	}
	return path
}

// foundIn are the findings of a call, without what differs from run to run.
func foundIn(t *testing.T, words ...string) (diagnose.Findings, string) {
	t.Helper()
	got := call(t, append(words, "--json")...)
	var f diagnose.Findings
	if err := json.Unmarshal([]byte(got.stdout), &f); err != nil {
		t.Fatalf("%v: %+v", err, got)
	}
	f.RuntimeS, f.Warnings = 0, nil
	text, err := json.MarshalIndent(f, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return f, string(text)
}

func TestLocateTakesAnInvestigation(t *testing.T) {
	folder := demoSite(t)
	path := savedSite(t, folder)
	in := func(name string) string { return filepath.Join(folder, name) }
	parts := slices.Concat([]string{"locate", in("raw/device.s1p"), "--line", in("line.toml"), "--baseline", in("baseline.s1p"), "--points", "300"}, rawWords(folder))
	found, want := foundIn(t, parts...)
	if _, got := foundIn(t, "locate", path, "--points", "300"); got != want {
		t.Errorf("from the investigation\n%s\nfrom its parts\n%s", got, want)
	}
	unusable(t, "downlead locate: "+path+" is an investigation, which names its own line, standards and earlier sweep: leave those options out, or name the sweep itself",
		"locate", path, "--line", in("line.toml"))

	// What it holds of an earlier run is held against this one.
	o, err := investigation.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	doc := o.Document
	doc.Found = investigation.FoundBy(&found)
	doc.Found.Faults = nil
	if _, err := investigation.Save(path, doc); err != nil {
		t.Fatal(err)
	}
	if got := call(t, "locate", path, "--points", "300"); got.status != statusFault || !strings.Contains(strings.Join(strings.Fields(got.stdout), " "), "which the file does not hold") {
		t.Errorf("a run that disagrees says nothing:\n%+v", got)
	}

	// A measurement that is not what it was is not used.
	if err := os.Remove(in("baseline.s1p")); err != nil {
		t.Fatal(err)
	}
	unusable(t, "downlead locate: the earlier sweep, "+in("baseline.s1p")+", is missing; put it back, or open the earlier sweep anew", "locate", path)
	if err := os.WriteFile(path, []byte("schema = \"downlead/investigation/1\"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	unusable(t, "downlead locate: "+path+": this investigation has no sweep yet; open it in the window and add one", "locate", path)
	if err := os.WriteFile(path, []byte("schema = \"downlead/investigation/1\"\nsite = 1\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	unusable(t, "downlead locate: "+path+":2:1: site is not text; put it in quotes", "locate", path)
}

// What a window that ended kept of an investigation is not used, and told of.
func TestUnsavedChangesAreToldOf(t *testing.T) {
	folder := demoSite(t)
	path := savedSite(t, folder)
	o, err := investigation.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	want, _ := foundIn(t, "locate", path)
	doc := o.Document
	doc.Every = 2
	k := investigation.Keeper{Now: func() time.Time { return time.Date(2031, 5, 4, 9, 30, 0, 0, time.Local) }}
	if err := k.Keep(path, doc); err != nil {
		t.Fatal(err)
	}
	got := call(t, "locate", path, "--json")
	if want := "downlead: changes of " + path + " that were not saved were kept on 4 May 2031, 09:30, when the window ended; they are not used here. Open it in the window to take them up or throw them away.\n"; got.stderr != want {
		t.Errorf("said %q, want %q", got.stderr, want)
	}
	var f diagnose.Findings
	if err := json.Unmarshal([]byte(got.stdout), &f); err != nil || f.Findings[0].DistanceM != want.Findings[0].DistanceM {
		t.Errorf("%v, found %+v", err, f.Findings)
	}
	if err := k.Done(); err != nil {
		t.Fatal(err)
	}
	if got := call(t, "locate", path, "--json"); got.stderr != "" {
		t.Errorf("with nothing kept: %q", got.stderr)
	}
}
