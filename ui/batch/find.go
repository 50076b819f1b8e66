package batch

import (
	"bufio"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// Item is a sweep file to judge. Key is its path below the folder that was
// searched, with slashes: the same on every machine that mounts that folder.
type Item struct{ Path, Key string }

// IsSweep says by its extension whether a file is taken for a sweep.
func IsSweep(path string) bool {
	switch strings.ToLower(filepath.Ext(path)) {
	case ".s1p", ".s2p", ".ts", ".csv":
		return !strings.HasPrefix(filepath.Base(path), ".")
	}
	return false
}

// Find returns the sweeps that the operands name, each once, in their order. An
// operand is a folder, of which all sweeps are taken, also in folders below (not
// in hidden ones), in the order of their names; a sweep file; a pattern with *, ?
// or [...]; or another file, or -, which lists one path a line, from the list's
// own folder (the working directory for -). stdin is read for -.
func Find(operands []string, stdin io.Reader) ([]Item, error) {
	var items []Item
	for _, operand := range operands {
		more, err := find(operand, stdin)
		if err != nil {
			return nil, err
		}
		items = append(items, more...)
	}
	return once(items), nil
}

// once leaves the first of the items of one path.
func once(items []Item) []Item {
	seen := make(map[uint64]bool, len(items))
	return slices.DeleteFunc(items, func(i Item) bool {
		h := hash(i.Path)
		was := seen[h]
		seen[h] = true
		return was
	})
}

func find(operand string, stdin io.Reader) ([]Item, error) {
	if operand == "-" {
		return listed("standard input", "", stdin)
	}
	info, err := os.Stat(operand)
	switch {
	case err == nil && info.IsDir():
		items, err := folder(operand)
		if err == nil && len(items) == 0 {
			err = fmt.Errorf("%s: no sweep in this folder or below it: a sweep's name ends in .s1p, .s2p, .ts or .csv", operand)
		}
		return items, err
	case err == nil && IsSweep(operand):
		return []Item{{operand, filepath.ToSlash(operand)}}, nil
	case err == nil:
		file, err := os.Open(operand)
		if err != nil {
			return nil, err
		}
		defer file.Close()
		return listed(operand, filepath.Dir(operand), file)
	case !errors.Is(err, fs.ErrNotExist) || !strings.ContainsAny(operand, "*?["):
		return nil, err
	}
	paths, err := filepath.Glob(operand)
	if err != nil {
		return nil, fmt.Errorf("%s is not a pattern: %w", operand, err)
	}
	var items []Item
	for _, path := range paths {
		if IsSweep(path) {
			items = append(items, Item{path, filepath.ToSlash(path)})
		}
	}
	if len(items) == 0 {
		return nil, fmt.Errorf("%s: no sweep has such a name", operand)
	}
	return items, nil
}

// folder finds the sweeps in root and below it.
func folder(root string) ([]Item, error) {
	var items []Item
	err := filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case path == root:
		case entry.IsDir() && strings.HasPrefix(entry.Name(), "."):
			return filepath.SkipDir
		case !entry.IsDir() && IsSweep(path):
			key, err := filepath.Rel(root, path)
			if err != nil {
				return err
			}
			items = append(items, Item{path, filepath.ToSlash(key)})
		}
		return nil
	})
	return items, err
}

// listed reads a list of paths; blank lines and those that begin with # count
// for nothing. That a file is not there is told when its turn comes.
func listed(name, base string, r io.Reader) ([]Item, error) {
	var items []Item
	lines := bufio.NewScanner(r)
	for number := 1; lines.Scan(); number++ {
		path := strings.TrimSpace(lines.Text())
		switch {
		case path == "" || path[0] == '#':
			continue
		case strings.ContainsRune(path, 0) || !IsSweep(path):
			return nil, fmt.Errorf("%s:%d: %q is not the name of a sweep: a list has one path a line, ending in .s1p, .s2p, .ts or .csv", name, number, path)
		}
		item := Item{path, filepath.ToSlash(path)}
		if !filepath.IsAbs(path) {
			item.Path = filepath.Join(base, path)
		}
		items = append(items, item)
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if len(items) == 0 {
		return nil, fmt.Errorf("%s: the list names no sweep", name)
	}
	return items, nil
}

// Shard is one of Of parts of the work, counted from 1. The zero value is all
// of it.
type Shard struct{ Number, Of int }

// ParseShard reads i/n.
func ParseShard(text string) (Shard, error) {
	number, of, _ := strings.Cut(text, "/")
	i, err := strconv.Atoi(number)
	n, err2 := strconv.Atoi(of)
	if err != nil || err2 != nil || i < 1 || i > n {
		return Shard{}, fmt.Errorf("%q is not a share of the work; write for example 3/8 for the third of eight, the first is 1/8", text)
	}
	return Shard{i, n}, nil
}

// Sharded returns those of the items that fall to the shard.
func Sharded(items []Item, shard Shard) []Item {
	if shard.Of <= 1 {
		return items
	}
	return slices.DeleteFunc(items, func(i Item) bool {
		h := hash(i.Key)
		return int((h^h>>32)%uint64(shard.Of)) != shard.Number-1
	})
}

func hash(text string) uint64 {
	h := fnv.New64a()
	h.Write([]byte(text)) // never fails
	return h.Sum64()
}
