package tables

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Comments are the comments of a TOML text with what each stands at, so that they
// can be put into a text that the program writes of the same things. A comment on
// lines of its own stands at the next key or heading, one behind a value at that;
// an entry of a list is known by what it is called or where it is, not by how
// manieth it is. Blank lines between comments stay. nil: there are none.
type Comments []comment

// comment is what stands at one key or heading.
type comment struct {
	at     string
	above  []string // each with its sign; "": a blank line
	beside string   // "": none
}

// endOfText is where the comments behind the last key stand; no key is called so.
const endOfText = "\n"

// CommentsOf returns the comments of a TOML text without those for which drop says
// so.
func CommentsOf(text string, drop func(comment string) bool) Comments {
	var all Comments
	for _, p := range named(text) {
		c := comment{at: p.path, above: slices.DeleteFunc(p.above, drop), beside: p.beside}
		for len(c.above) > 0 && c.above[0] == "" { // what stood above it is gone
			c.above = c.above[1:]
		}
		if drop(c.beside) {
			c.beside = ""
		}
		if len(c.above) > 0 || c.beside != "" {
			all = append(all, c)
		}
	}
	return all
}

// Sorted returns all comments, each with its sign, in the order of their letters.
func (c Comments) Sorted() []string {
	var all []string
	for _, one := range c {
		all = append(append(all, one.above...), one.beside)
	}
	all = slices.DeleteFunc(all, func(row string) bool { return row == "" })
	slices.Sort(all)
	return all
}

// Into returns text with the comments in it. Those of what is not in text stand at
// its end.
func (c Comments) Into(text string) string {
	if len(c) == 0 {
		return text
	}
	waiting := map[string]comment{}
	for _, one := range c {
		waiting[one.at] = one
	}
	var out strings.Builder
	from := 0
	for _, p := range named(text) {
		one, has := waiting[p.path]
		if !has || p.last {
			continue
		}
		delete(waiting, p.path)
		out.WriteString(text[from:p.start])
		for _, row := range one.above {
			out.WriteString(row + "\n")
		}
		out.WriteString(text[p.start:p.end])
		if one.beside != "" {
			out.WriteString(" " + one.beside)
		}
		from = p.end
	}
	out.WriteString(text[from:])
	if len(waiting) > 0 {
		out.WriteString("\n")
	}
	for _, one := range c {
		if _, left := waiting[one.at]; !left {
			continue
		}
		for _, row := range one.above {
			out.WriteString(row + "\n")
		}
		if one.beside != "" {
			out.WriteString(one.beside + "\n")
		}
	}
	return out.String()
}

// named returns the pieces of text, the entries of lists in their paths by name.
func named(text string) []piece {
	var all []piece
	s := placeScanner{text: text}
	s.scan(func(p piece) {
		if p.last {
			p.path = endOfText
		}
		all = append(all, p)
	})
	names, known := map[string]string{}, map[string]int{}
	for i, p := range all {
		if !p.entry {
			continue
		}
		name := renamed(p.path[:strings.LastIndexByte(p.path, '[')], names)
		for _, key := range all[i+1:] {
			if key.heading {
				break
			}
			if own, is := strings.CutPrefix(key.path, p.path+"."); is && tells(own) {
				name += "|" + own + "=" + plain(text[key.value:key.end])
			}
		}
		known[name]++
		names[p.path] = fmt.Sprintf("%s|%d", name, known[name])
	}
	for i := range all {
		all[i].path = renamed(all[i].path, names)
	}
	return all
}

// renamed puts the names of entries into a path.
func renamed(path string, names map[string]string) string {
	for at := len(path); at > 0; at = strings.LastIndexByte(path[:at], '.') {
		if name, has := names[path[:at]]; has {
			return name + path[at:]
		}
	}
	return path
}

// tells says whether a key tells an entry of a list from the others.
func tells(key string) bool {
	switch key {
	case "id", "name", "after", "kind", "cause", "distance_m", "at_m", "at_hz":
		return true
	}
	return false
}

// plain is a value however it is written: a text without its quotes, a number in
// one form.
func plain(value string) string {
	value = strings.Trim(strings.TrimSpace(value), `"'`)
	if x, err := strconv.ParseFloat(strings.ReplaceAll(value, "_", ""), 64); err == nil {
		return strconv.FormatFloat(x, 'g', -1, 64)
	}
	return value
}
