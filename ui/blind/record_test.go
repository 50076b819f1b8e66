package blind

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"downlead/dsp/diagnose"
)

func sampleRow() Row {
	contact := Fault{Cause: diagnose.PoorContact, DistanceM: 20, ApparentM: 20, FullM: 0.5, ReachM: 2}
	c := &Case{Seed: 7, Difficulty: 3, faults: []Fault{contact}}
	return RowOf(" Trainee 4 ", time.Date(2031, 5, 4, 9, 30, 0, 0, time.FixedZone("", 7200)), c, c.Score([]Mark{{21.25, diagnose.PoorContact}, {3, diagnose.DentOrKink}}))
}

func TestRecordGrowsByWholeRows(t *testing.T) {
	path := filepath.Join(t.TempDir(), "results.csv")
	row := sampleRow()
	for range 2 {
		if err := Append(path, row); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile(path)
	want := "at_utc,trainee,level,seed,points,faults,found,causes_right,false_marks,mean_off_m\n" +
		strings.Repeat("2031-05-04T07:30:00Z,Trainee 4,3,7,50.0,1,1,1,1,1.25\n", 2)
	if err != nil || string(text) != want {
		t.Errorf("%v\n%s", err, text)
	}
	rows, err := Read(path)
	if err != nil || len(rows) != 2 || !reflect.DeepEqual(rows[1], row) {
		t.Errorf("%v, %+v", err, rows)
	}
}

// A row whose end was lost to an editor does not swallow the next one.
func TestRecordWithoutItsLastNewline(t *testing.T) {
	path := filepath.Join(t.TempDir(), "results.csv")
	if err := Append(path, sampleRow()); err != nil {
		t.Fatal(err)
	}
	text, _ := os.ReadFile(path)
	if err := os.WriteFile(path, text[:len(text)-1], 0o600); err != nil {
		t.Fatal(err)
	}
	if err := Append(path, sampleRow()); err != nil {
		t.Fatal(err)
	}
	if rows, err := Read(path); err != nil || len(rows) != 2 {
		t.Errorf("%v, %d rows", err, len(rows))
	}
}

func TestRecordRefusesWhatItIsNot(t *testing.T) {
	head := strings.Join(columns(), ",") + "\n"
	for name, c := range map[string]struct{ text, want string }{
		"another table": {"a,b\n1,2\n", "results.csv:1: this is not a record of results, whose first line is " + strings.TrimSpace(head) + "; choose another file"},
		"a short row":   {head + "1,2\n", "results.csv:2: 2 values instead of 10; mend the row, or take it out"},
		"a bad number":  {head + "2031-05-04T07:30:00Z,A,3,7,many,1,1,1,1,1\n", `results.csv:2: points cannot be "many"; mend the row, or take it out`},
		"a bad time":    {head + "today,A,3,7,1,1,1,1,1,1\n", `results.csv:2: at_utc cannot be "today"; mend the row, or take it out`},
		"a formula":     {head + "2031-05-04T07:30:00Z,=A1,3,7,1,1,1,1,1,1\n", `results.csv:2: the name "=A1" holds '='; use letters, digits, spaces, dots, dashes and apostrophes, a letter or digit first; mend the row, or take it out`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Chdir(t.TempDir())
			if err := os.WriteFile("results.csv", []byte(c.text), 0o600); err != nil {
				t.Fatal(err)
			}
			if err := Append("results.csv", sampleRow()); err == nil || err.Error() != c.want {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
			if after, _ := os.ReadFile("results.csv"); string(after) != c.text {
				t.Errorf("the file was changed to %q", after)
			}
		})
	}
	row := sampleRow()
	for _, name := range []string{"", "  ", "+1", "a\nb", "a,b", strings.Repeat("x", 61)} {
		row.Trainee = name
		if err := Append(filepath.Join(t.TempDir(), "r.csv"), row); err == nil {
			t.Errorf("the name %q is taken", name)
		}
	}
}

// What is read can be written and read again, and is the same; nothing panics.
func FuzzRecord(f *testing.F) {
	head := strings.Join(columns(), ",") + "\n"
	f.Add(head + "2031-05-04T07:30:00Z,Trainee 4,3,7,50.0,1,1,1,1,1.25\n")
	f.Add(head + "2031-05-04T07:30:00Z,\"A\n\"\"b\",3,7,NaN,1,1,1,1,1e9\n")
	f.Add("\xff\n,,\"")
	f.Fuzz(func(t *testing.T, text string) {
		rows, err := decode("r.csv", strings.NewReader(text))
		if err != nil {
			if !strings.HasPrefix(err.Error(), "r.csv:") {
				t.Errorf("the error has no place: %v", err)
			}
			return
		}
		for _, row := range rows {
			again, err := rowOf(row.fields())
			if err != nil || again.Trainee != row.Trainee || again.Seed != row.Seed || again.Faults != row.Faults {
				t.Errorf("%+v came back as %+v, %v", row, again, err)
			}
		}
	})
}

// A trainee's rows are told from others', and summed up by level.
func TestOfATrainee(t *testing.T) {
	rows := []Row{{Trainee: "a", Level: 2, Points: 50}, {Trainee: "b", Level: 1, Points: 10}, {Trainee: "a", Level: 1, Points: 100}, {Trainee: "a", Level: 2, Points: 0}}
	got := Of(rows, " a ")
	if len(got) != 3 || got[2].Points != 0 {
		t.Fatalf("rows %+v", got)
	}
	sums := ByLevel(got)
	if len(sums) != 2 || sums[0] != (LevelSum{1, 1, 100}) || sums[1] != (LevelSum{2, 2, 25}) {
		t.Errorf("sums %+v", sums)
	}
}
