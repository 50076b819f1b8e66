package lesson

import (
	"context"
	"testing"
)

// Everything that an embedded lesson states is worked out, every answer with it.
func TestEmbeddedLessonsHold(t *testing.T) {
	all, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 12 {
		t.Fatalf("%d lessons", len(all))
	}
	for i, l := range all {
		if testing.Short() && i >= 7 { // those with faults take a second each
			break
		}
		t.Run(l.ID, func(t *testing.T) {
			t.Parallel()
			b, err := Open(context.Background(), l)
			if err != nil {
				t.Fatal(err)
			}
			if err := b.Check(context.Background()); err != nil {
				t.Error(err)
			}
		})
	}
}
