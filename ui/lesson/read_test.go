package lesson

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"downlead/cables/tables"
)

// small is a whole lesson in few lines; the tests change one of them.
const small = `schema = "downlead/lesson/1"
title = "A short line"
text = "It is {line.length_m|1 m} long."
[scenario]
seed = 1
[scenario.line]
name = "short"
[[scenario.line.cable]]
id = "a"
impedance_ohm = 50.0
velocity_factor = 0.8
attenuation_db_per_100m = [[100e6, 3.5], [1000e6, 11.6]]
[[scenario.line.section]]
name = "run"
cable = "a"
length_m = 9.0
[scenario.line.load]
kind = "open"
[scenario.sweep]
low_hz = 100e6
high_hz = 900e6
points = 201
[[step]]
title = "Look"
text = """
[scenario.sweep] in a text is no heading.
"""
[step.show]
along = "return-loss"
[[question]]
kind = "place"
text = "Where does it end?"
answer = "line.length_m"
tolerance = "cell_m"
[[question]]
kind = "number"
text = "Of 20 dB, what is left of 100?"
answer = "100*gamma_of_return_loss(20)"
unit = "%"
tolerance = 100
`

func decodeSmall(text string) (*Lesson, error) {
	return Decode("l.toml", strings.NewReader(text))
}

func TestSmallLesson(t *testing.T) {
	l, err := decodeSmall(small)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Open(context.Background(), l)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Check(context.Background()); err != nil {
		t.Fatal(err)
	}
	s, err := b.Scene(&l.Steps[0].Show)
	if err != nil {
		t.Fatal(err)
	}
	for feet, want := range map[bool]string{false: "It is 9.0 m long.", true: "It is 29.5 ft long."} {
		b.Feet = feet
		if got, err := s.Fill(context.Background(), l.Text); err != nil || got != want {
			t.Errorf("%q, %v; want %q", got, err, want)
		}
	}
	b.Feet = false
	for given, want := range map[string]bool{"9": true, "9.1 m": true, "29.5ft": true, "900 cm": true, "8,9": true, "8.7": false} { // a cell is 0.15 m
		if o, err := b.Answer(context.Background(), 0, given); err != nil || o.Right != want {
			t.Errorf("%q: %+v, %v", given, o, err)
		}
	}
	for given, want := range map[string]string{
		"far":  `"far" is not a number; write it as 3.5 m`,
		"9 dB": `"9 dB": the answer is asked for in m`,
		"":     `"" is not a number; write it as 3.5 m`,
	} {
		var unreadable *UnreadableError
		if _, err := b.Answer(context.Background(), 0, given); !errors.As(err, &unreadable) || err.Error() != want {
			t.Errorf("%q: %v; want %s", given, err, want)
		}
	}
}

// What is wrong with a lesson is said with its place and the mend.
func TestLessonsThatAreWrong(t *testing.T) {
	replace := func(old, new string) string {
		if !strings.Contains(small, old) {
			t.Fatalf("the small lesson has no %q", old)
		}
		return strings.Replace(small, old, new, 1)
	}
	for name, c := range map[string]struct{ text, want string }{
		"no lesson":          {"title = \"x\"\n", `l.toml:1:1: this is not a lesson: it has no schema = "downlead/lesson/1"`},
		"no TOML":            {"schema = \n", "l.toml:1:10: expected value but found '\\n' instead; mend the TOML"},
		"unknown key":        {replace("title =", "titel ="), `l.toml:1:1: title is missing; name the lesson in a line` + "\n" + `l.toml:2:1: unknown key "titel"; did you mean "title"?`},
		"wrong quantity":     {replace(`"line.length_m"`, `"line.lenght_m"`), `l.toml:33:1: answer: formula "line.lenght_m": no quantity is called "line.lenght_m"; did you mean "line.length_m"?`},
		"wrong in a text":    {replace("{line.length_m|1 m}", "{line.length_m|1 yards}"), `l.toml:3:1: text: the unit "yards" is not known; there are ` + strings.Join(Units(), ", ")},
		"open brace":         {replace("{line.length_m|1 m}", "{line.length_m"), "l.toml:3:1: text: an opening brace has no closing one; double it to write a brace"},
		"wrong view":         {replace(`along = "return-loss"`, `along = "returnloss"`), `l.toml:29:1: along cannot be "returnloss"; use one of return-loss, vswr, magnitude, impedance`},
		"no earlier sweep":   {replace(`along = "return-loss"`, `sweep = "earlier"`), "l.toml:28:1: the earlier sweep is shown, but the scenario makes none; add baseline = true under [scenario]"},
		"wrong scenario":     {replace("length_m = 9.0", "length_m = -9.0"), `l.toml:16:1: section "run": a length of -9 m is not positive; give metres, measured or from the drawing`},
		"fault not known":    {replace("[scenario.sweep]\nlow", "[[scenario.fault]]\ncause = \"gremlins\"\n[scenario.sweep]\nlow"), `l.toml:20:1: fault 1, cause: "gremlins" is unknown; use one of antenna, connector-mismatch, dent-or-kink, lossy-section, open-circuit, poor-contact, short-circuit, water-in-cable, water-in-connector, wrong-impedance`},
		"scenario in braces": {"schema = \"downlead/lesson/1\"\ntitle = \"x\"\nscenario = 3\n[[step]]\ntext = \"x\"\n", "l.toml:3:1: scenario is int64; write it as tables, [scenario], [scenario.sweep] and so on, each under its own heading"},
		"too many points":    {replace("points = 201", "points = 5000"), "l.toml: the scenario's sweep has 5000 points; a lesson has at most 4001"},
		"no tolerance":       {replace("tolerance = \"cell_m\"\n", ""), `l.toml:30:1: tolerance is missing; a number in the question's unit, or a formula in SI units such as "cell_m"`},
		"kind":               {replace(`kind = "place"`, `kind = "palce"`), `l.toml:31:1: kind cannot be "palce"; use one of number, place, cause, choice`},
		"escape":             {replace(`text = "Where`, `text = "\u001b[2JWhere`), "l.toml:32:1: text holds a control character; take it out"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := decodeSmall(c.text)
			if err == nil || err.Error() != c.want {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
		})
	}
}

// What can be seen only when it is worked out is said so too.
func TestCheckSaysWhatDoesNotHold(t *testing.T) {
	for name, c := range map[string]struct{ old, new, want string }{
		"off the line":  {`"line.length_m"`, `"line.length_m + 90"`, "l.toml:33:1: the answer 99.00 m does not lie on the line"},
		"no such fault": {`"line.length_m"`, `"finding[1].distance_m"`, `l.toml:33:1: formula "finding[1].distance_m": finding[1].distance_m: there are 0 faults found`},
		"own check":     {"[[step]]", "[[check]]\nthat = \"line.length_m > 10\"\n[[step]]", "l.toml:24:1: the lesson's own check does not hold: line.length_m > 10"},
		"no truth":      {"[[step]]", "[[check]]\nthat = \"line.length_m\"\n[[step]]", `l.toml:24:1: formula "line.length_m" gives a number, not true or false; compare it with something`},
		"two right": {"kind = \"place\"\ntext = \"Where does it end?\"\nanswer = \"line.length_m\"\ntolerance = \"cell_m\"",
			"kind = \"choice\"\ntext = \"?\"\n[[question.option]]\ntext = \"a\"\nwhen = \"1 < 2\"\n[[question.option]]\ntext = \"b\"\nwhen = \"2 > 1\"",
			"l.toml:38:1: answers 1 and 2 are both right; make their formulas exclude each other"},
		"tolerance": {`"cell_m"`, `"cell_m - cell_m"`, "l.toml:34:1: the tolerance is not a number above zero"},
	} {
		t.Run(name, func(t *testing.T) {
			l, err := decodeSmall(strings.Replace(small, c.old, c.new, 1))
			if err != nil {
				t.Fatal(err)
			}
			b, err := Open(context.Background(), l)
			if err != nil {
				t.Fatal(err)
			}
			if err := b.Check(context.Background()); err == nil || err.Error() != c.want {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
		})
	}
}

func TestHostileFiles(t *testing.T) {
	if _, err := Read(t.TempDir()); err == nil || !strings.HasSuffix(err.Error(), "this is not a plain file; give a lesson's TOML file") {
		t.Errorf("a folder: %v", err)
	}
	if _, err := Read(filepath.Join(t.TempDir(), "none.toml")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	for name, text := range map[string]string{
		"large":    small + "# " + strings.Repeat("x", mostBytes),
		"deep":     "schema = \"downlead/lesson/1\"\na = " + strings.Repeat("[", 5000),
		"many":     small + strings.Repeat("[[step]]\ntext = \"x\"\n", mostSteps),
		"no text":  "\x00\x01\xff",
		"long key": strings.Repeat("a.", 4000) + "b = 1\n",
	} {
		_, err := decodeSmall(text)
		var place *tables.FileError
		if !errors.As(err, &place) || place.File != "l.toml" || len(err.Error()) > 2000 {
			t.Errorf("%s: %.300v", name, err)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	l, err := decodeSmall(small)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Open(ctx, l); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// No file makes the reader panic; every error has the file's name; what is taken
// can be shown.
func FuzzLesson(f *testing.F) {
	f.Add(small)
	f.Add(strings.Replace(small, "[scenario]\n", "", 1))
	f.Add("schema = \"downlead/lesson/1\"\n[[step]]\ntext = '''{'''\n[scenario.sweep]\n[scenario]\n")
	f.Add("schema = \"downlead/lesson/1\"\nscenario.line.name = 3\n")
	f.Fuzz(func(t *testing.T, text string) {
		l, err := decodeSmall(text)
		if err != nil {
			if !strings.Contains(err.Error(), "l.toml") {
				t.Errorf("the error has no file: %v", err)
			}
			return
		}
		if l.Title == "" || len(l.Steps) == 0 || l.Scenario == nil || l.Scenario.Check() != nil {
			t.Errorf("a lesson without its parts: %+v", l)
		}
		for i := range l.Questions {
			l.ShowOf(&l.Questions[i])
		}
	})
}
