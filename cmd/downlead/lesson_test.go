package main

import (
	"bytes"
	"image/png"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"downlead/ui/lesson"
)

// Somebody answers the first lesson: right, wrong, left out, not understood.
func TestLesson(t *testing.T) {
	got := answered(t, "20\n\nfour\n3\n1\n", "lesson", "1")
	flat := strings.Join(strings.Fields(got.stdout), " ")
	for _, want := range []string{
		"What VSWR and return loss are", "Step 1 of 2: Return loss", "Question 4 of 4",
		"answer, in dB: Right: 20.0 dB, give or take 0.5 dB.",
		"answer (1 to 2): Left out.",
		`"four" is not a number; write it as 3.5`,
		"Not so: 1.50, give or take 0.04.",
		"Right: 1, yes.",
		"2 of 4 questions right.",
	} {
		if !strings.Contains(flat, want) {
			t.Errorf("no %q in\n%s", want, got.stdout)
		}
	}
	if got.status != statusPasses || got.stderr != "" {
		t.Errorf("status %d, %q", got.status, got.stderr)
	}
	for _, row := range strings.Split(got.stdout, "\n") {
		if n := len([]rune(row)); n > pageColumns+2 {
			t.Errorf("%d columns: %s", n, row)
		}
	}
	plain := answered(t, "", "lesson", "1", "--ascii")
	if strings.IndexFunc(plain.stdout, func(r rune) bool { return r > 126 }) >= 0 || !strings.Contains(plain.stdout, "No question was answered.") {
		t.Errorf("--ascii: %s", plain.stdout)
	}
}

func TestLessonList(t *testing.T) {
	all, err := lesson.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	got := call(t, "lesson")
	for _, l := range all {
		if !strings.Contains(got.stdout, l.Title) {
			t.Errorf("%q is not listed", l.Title)
		}
	}
	if names := call(t, "lesson", "--quantities"); !strings.Contains(names.stdout, "finding[].distance_m") || !strings.Contains(names.stdout, "peak.return_loss_db(from m, to m)") {
		t.Errorf("the quantities: %s", names.stdout)
	}
}

func TestLessonCheck(t *testing.T) {
	if got := call(t, "lesson", "1", "--check"); got.status != statusPasses || !strings.HasSuffix(strings.Join(strings.Fields(got.stdout), " "), "steps: 2, questions: 4; everything that it states can be worked out") {
		t.Errorf("the first lesson: %+v", got)
	}
	text, err := os.ReadFile("../../ui/lesson/lessons/01-vswr-and-return-loss.toml")
	if err != nil {
		t.Fatal(err)
	}
	mine := file(t, "mine.toml", strings.Replace(string(text), `"return_loss_of_gamma(0.1)"`, `"return_los_of_gamma(0.1)"`, 1))
	line := 1 + strings.Count(string(text[:bytes.Index(text, []byte(`answer = "return_loss_of_gamma(0.1)"`))]), "\n")
	want := mine + ":" + strconv.Itoa(line) + `:1: answer: formula "return_los_of_gamma(0.1)": no quantity is called "return_los_of_gamma"; did you mean "return_loss_of_gamma"?`
	unusable(t, "downlead lesson: "+want, "lesson", "--check", mine)
}

func TestLessonExport(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "figures")
	got := call(t, "lesson", "1", "--export", folder)
	if got.status != statusPasses || !strings.Contains(got.stdout, "step 2") {
		t.Fatalf("%+v", got)
	}
	pictures, err := filepath.Glob(filepath.Join(folder, "step-*", "*.png"))
	if err != nil || len(pictures) < 4 {
		t.Fatalf("%d pictures, %v", len(pictures), err)
	}
	for _, name := range pictures {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := png.Decode(bytes.NewReader(data)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	unusable(t, "downlead lesson: "+folder+" already holds something; add --force to write into it, or choose another folder", "lesson", "1", "--export", folder)
}

func TestLessonWrongCalls(t *testing.T) {
	all, err := lesson.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	unusable(t, "downlead lesson: there is no lesson 99; there are 1 to "+strconv.Itoa(len(all)), "lesson", "99")
	unusable(t, "downlead lesson: there is no lesson none.toml: give a number of the list that downlead lesson shows, or the file of a lesson", "lesson", "none.toml")
	unusable(t, "downlead lesson: --check needs the lesson: its number or its file", "lesson", "--check")
	unusable(t, "downlead lesson: --check and --export are two things; ask for one", "lesson", "1", "--check", "--export", "x")
}
