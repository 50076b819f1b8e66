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
	for _, l := range all {
		t.Run(l.ID, func(t *testing.T) {
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
