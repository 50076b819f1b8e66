package batch

import (
	"bytes"
	"strings"
	"testing"
)

// Whatever a record holds, its rows can be used, or the error names its line; and
// the rows written anew are the same.
func FuzzRecord(f *testing.F) {
	row := `{"schema":"downlead/batch/1","path":"a","outcome":"unusable","verdict":null,"faults":[]}`
	for _, seed := range []string{"", row, row + "\n", row + "\n" + row[:30], row + "\n\n" + row + "\n", "text", `{"schema":"other"}`, row[:20],
		`{"schema":"downlead/batch/1","path":"a","outcome":"fault","verdict":{},"faults":[{}],"margin_db":1}` + "\n"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var anew []byte
		count := 0
		err := scanText(0, "r.jsonl", bytes.NewReader(text), func(_ place, row *Row) error {
			line, err := row.line()
			if err != nil {
				t.Error(err)
			}
			if len(row.Fields()) != len(Columns()) {
				t.Errorf("%q", row.Fields())
			}
			row.severity()
			anew, count = append(anew, line...), count+1
			return nil
		})
		if err != nil && !strings.HasPrefix(err.Error(), "r.jsonl:") {
			t.Errorf("%v", err)
		}
		var again []byte
		err = scanText(0, "anew", bytes.NewReader(anew), func(_ place, row *Row) error {
			line, err := row.line()
			again, count = append(again, line...), count-1
			return err
		})
		if err != nil || count != 0 || !bytes.Equal(again, anew) {
			t.Errorf("%q became %q: %v", anew, again, err)
		}
	})
}

// A list gives sweeps' names, or an error with its line.
func FuzzList(f *testing.F) {
	for _, seed := range []string{"a.s1p\n", "# x\n\n b/c.CSV \r\n", "a.doc", "\x00.s1p", "/a.s2p"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		items, err := listed("list", "base", strings.NewReader(text))
		if err != nil {
			if !strings.HasPrefix(err.Error(), "list:") {
				t.Errorf("%v", err)
			}
			return
		}
		for _, item := range items {
			if !IsSweep(item.Path) {
				t.Errorf("%q gives %q", text, item.Path)
			}
		}
	})
}
