package lesson

import (
	"bytes"
	"embed"
	"fmt"
	"path"
	"strings"
)

//go:embed lessons/*.toml
var files embed.FS

// Embedded returns the lessons that come with the program, in their order. Their
// IDs are the names of their files without ".toml".
func Embedded() ([]*Lesson, error) {
	entries, err := files.ReadDir("lessons") // in order of names
	if err != nil {
		return nil, fmt.Errorf("reading the lessons: %w", err)
	}
	var out []*Lesson
	for _, e := range entries {
		name := path.Join("lessons", e.Name())
		data, err := files.ReadFile(name)
		if err != nil {
			return nil, fmt.Errorf("reading the lessons: %w", err)
		}
		l, err := Decode(name, bytes.NewReader(data))
		if err != nil {
			return nil, err
		}
		l.ID = strings.TrimSuffix(e.Name(), ".toml")
		out = append(out, l)
	}
	return out, nil
}
