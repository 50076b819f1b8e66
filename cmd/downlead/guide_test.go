package main

import (
	"bytes"
	"context"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"
)

var update = flag.Bool("update", false, "rewrite the outputs in docs/guide.md")

// block is a fenced block of the guide: what kind, and the text between the
// fences.
var block = regexp.MustCompile("(?ms)^```(\\w+)\n(.*?)^```\n")

// settled takes out of a text what differs from run to run.
func settled(text string) string {
	return regexp.MustCompile(`worked out in \d+ ms`).ReplaceAllString(text, "worked out in N ms")
}

// The guide is the golden text of every verb: its toml blocks whose first line
// names a file are written, its commands run, in order, in one folder.
func TestGuideShowsRealOutput(t *testing.T) {
	noUserCatalogue(t)
	path, err := filepath.Abs("../../docs/guide.md")
	if err != nil {
		t.Fatal(err)
	}
	guide, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	commands := 0
	renewed := block.ReplaceAllStringFunc(string(guide), func(whole string) string {
		parts := block.FindStringSubmatch(whole)
		kind, text := parts[1], parts[2]
		if name, _, _ := strings.Cut(text, "\n"); kind == "toml" && strings.HasPrefix(name, "# ") {
			if err := os.WriteFile(strings.TrimPrefix(name, "# "), []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if kind != "console" {
			return whole
		}
		commands++
		command, shown := splitCommand(text)
		words := strings.Fields(strings.ReplaceAll(command, "\\\n", " "))
		if len(words) < 3 || words[0] != "$" || words[1] != "downlead" {
			t.Fatalf("not a command of the program: %q", command)
		}
		var output bytes.Buffer
		if status := run(context.Background(), words[2:], &output, &output); status == statusUnusable {
			t.Errorf("%s ends with status 2: %s", command, output.String())
		}
		got := settled(output.String())
		for _, row := range strings.Split(got, "\n") {
			if n := utf8.RuneCountInString(row); n > 100 {
				t.Errorf("%s prints %d columns: %s", command, n, row)
			}
		}
		if got != shown && !*update {
			t.Errorf("%s\nprints other than the guide shows (-update rewrites it; read the difference):\n%s", command, firstDifference(got, shown))
		}
		return "```console\n" + command + "\n" + got + "```\n"
	})
	if commands == 0 {
		t.Error("the guide has no command")
	}
	if *update {
		if err := os.WriteFile(path, []byte(renewed), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// splitCommand cuts a console block behind its command, which a backslash at
// the end of a line continues.
func splitCommand(text string) (command, output string) {
	rows := strings.SplitAfter(text, "\n")
	n := 1
	for n < len(rows) && strings.HasSuffix(rows[n-1], "\\\n") {
		n++
	}
	return strings.TrimSuffix(strings.Join(rows[:n], ""), "\n"), strings.Join(rows[n:], "")
}

// firstDifference shows the first row in which two texts differ.
func firstDifference(got, want string) string {
	a, b := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range max(len(a), len(b)) {
		row := func(rows []string) string {
			if i < len(rows) {
				return rows[i]
			}
			return "(the end)"
		}
		if row(a) != row(b) {
			return "got:  " + row(a) + "\nwant: " + row(b)
		}
	}
	return "no difference"
}
