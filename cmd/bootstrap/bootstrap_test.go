package main

import (
	"bytes"
	"context"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"
)

func TestReadTestsCountsAndShows(t *testing.T) {
	events := strings.Join([]string{
		`{"Action":"output","Package":"p","Test":"TestGood","Output":"quiet\n"}`,
		`{"Action":"pass","Package":"p","Test":"TestGood"}`,
		`{"Action":"output","Package":"p","Test":"TestBad","Output":"    bad_test.go:7: 3, want 4\n"}`,
		`{"Action":"fail","Package":"p","Test":"TestBad"}`,
		`{"Action":"output","Package":"p","Test":"TestOutside","Output":"=== RUN   TestOutside\n"}`,
		`{"Action":"output","Package":"p","Test":"TestOutside","Output":"    x_test.go:9: ngspice is missing\n"}`,
		`{"Action":"skip","Package":"p","Test":"TestOutside"}`,
		`{"Action":"output","Package":"p","Output":"FAIL\tp\t0.01s\n"}`,
		`{"Action":"fail","Package":"p"}`,
		`not JSON`,
	}, "\n")
	var out bytes.Buffer
	got, err := readTests(strings.NewReader(events), &out)
	if err != nil {
		t.Fatal(err)
	}
	want := tally{passed: 1, failed: 1, skipped: []string{"p TestOutside: x_test.go:9: ngspice is missing"}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("tally %+v, want %+v", got, want)
	}
	if text := "    bad_test.go:7: 3, want 4\nFAIL\tp\t0.01s\nnot JSON\n"; out.String() != text {
		t.Errorf("printed %q, want %q", out.String(), text)
	}
}

func TestReadTestsShowsATestThatNeverEnded(t *testing.T) {
	var out bytes.Buffer
	_, err := readTests(strings.NewReader(`{"Action":"output","Package":"p","Test":"TestStuck","Output":"panic: timed out\n"}`), &out)
	if err != nil || out.String() != "not ended: p TestStuck\npanic: timed out\n" {
		t.Errorf("printed %q, error %v", out.String(), err)
	}
}

func TestFuzzTargets(t *testing.T) {
	list := "FuzzRead\nFuzzLine\nok  \tdownlead/cables\t0.01s\n?   \tdownlead/x\t[no test files]\nok  \tdownlead/dsp\t0.02s\nFuzzKit\nok  \tdownlead/dsp/calibration\t0.02s\n"
	want := []fuzzTarget{{"downlead/cables", "FuzzRead"}, {"downlead/cables", "FuzzLine"}, {"downlead/dsp/calibration", "FuzzKit"}}
	if got := fuzzTargets(list); !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestInstaller(t *testing.T) {
	having := func(names ...string) func(string) (string, error) {
		return func(name string) (string, error) {
			for _, n := range names {
				if n == name {
					return "/usr/bin/" + n, nil
				}
			}
			return "", errors.New("not found")
		}
	}
	for _, c := range []struct {
		name   string
		having []string
		uid    int
		prefix []string
		reason string
	}{
		{"another system", []string{"sudo"}, 0, nil, "this system has no apt-get"},
		{"root", []string{"apt-get"}, 0, nil, ""},
		{"a user with sudo", []string{"apt-get", "sudo"}, 1000, []string{"sudo"}, ""},
		{"a user without", []string{"apt-get"}, 1000, nil, "neither root nor sudo"},
	} {
		prefix, err := installer(having(c.having...), c.uid)
		if !reflect.DeepEqual(prefix, c.prefix) || (err == nil) != (c.reason == "") || err != nil && err.Error() != c.reason {
			t.Errorf("%s: %v, %v; want %v, %q", c.name, prefix, err, c.prefix, c.reason)
		}
	}
}

func TestMissingToolsAndTheirPackages(t *testing.T) {
	lacking := missing(tools(), func(t tool) bool { return t.name != "gcc" && t.name != "scikit-rf" })
	if got := packages(lacking); !reflect.DeepEqual(got, []string{"gcc", "libc6-dev", "python3-scikit-rf"}) {
		t.Errorf("packages %v", got)
	}
}

func TestSummary(t *testing.T) {
	var out bytes.Buffer
	err := summarise(&out, []result{
		{"gofmt", 300 * time.Millisecond, nil, ""},
		{"tests", 61 * time.Second, errors.New("exit status 1"), "9 passed, 1 failed, 0 skipped"},
	}, nil)
	want := "\n=== summary\n" +
		"ok      gofmt                          0.3 s\n" +
		"FAILED  tests                         61.0 s  9 passed, 1 failed, 0 skipped\n"
	if out.String() != want || err == nil || err.Error() != "1 of 2 checks failed" {
		t.Errorf("printed\n%s\nerror %v", out.String(), err)
	}
	if err := summarise(&out, nil, context.Canceled); err == nil || err.Error() != "interrupted" {
		t.Errorf("interrupted run: %v", err)
	}
}

func TestWrongCalls(t *testing.T) {
	for _, args := range [][]string{nil, {"deploy"}, {"test", "--fuzz"}, {"test", "--fuzz", "soon"}, {"demo", "more"}} {
		var out bytes.Buffer
		if status := run(context.Background(), args, &out); status != 2 {
			t.Errorf("%v: status %d", args, status)
		}
	}
}

func TestOnlyOutOfTime(t *testing.T) {
	ended := "fuzz: elapsed: 10s, execs: 164741 (13606/sec)\n--- FAIL: FuzzCSV (10.27s)\n    context deadline exceeded\nFAIL\n"
	if !onlyOutOfTime(ended) {
		t.Error("a run whose time ended counts as a failure")
	}
	if told := withoutFailure(ended, "FuzzCSV"); strings.Contains(told, "FAIL") || !strings.Contains(told, "execs: 164741") {
		t.Errorf("a run whose time ended is told as %q", told)
	}
	for _, found := range []string{
		"--- FAIL: FuzzCSV (3.1s)\n    --- FAIL: FuzzCSV (0.00s)\n        csv_test.go:9: wrong\n    Failing input written to testdata/fuzz/FuzzCSV/1\n",
		ended + "    Failing input written to testdata/fuzz/FuzzCSV/1\n",
		ended + "panic: index out of range\n",
	} {
		if onlyOutOfTime(found) {
			t.Errorf("passed over a failure:\n%s", found)
		}
	}
}
