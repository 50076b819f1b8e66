package main

import (
	"errors"
	"fmt"
	"strings"

	"downlead/cables/tables"
)

// option is one option of a verb.
type option struct {
	name  string             // without the dashes
	value string             // the value's placeholder in the help; "" for a switch
	help  string             // one line
	set   func(string) error // takes the value; a switch gets ""
}

// options is what a verb takes on its command line.
type options struct {
	verb     string
	operands string // their names, separated by spaces
	about    string
	list     []option
}

// errHelp is returned by read when the user asks for help.
var errHelp = errors.New("help asked for")

// read takes the words after the verb: options anywhere, --name value or
// --name=value, everything after a bare -- an operand. It returns the operands.
func (o *options) read(words []string) ([]string, error) {
	var operands []string
	for len(words) > 0 {
		word := words[0]
		words = words[1:]
		switch {
		case word == "--":
			return append(operands, words...), nil
		case word == "-h" || word == "--help":
			return nil, errHelp
		case len(word) < 2 || word[0] != '-':
			operands = append(operands, word)
			continue
		}
		name, value, hasValue := strings.Cut(strings.TrimPrefix(strings.TrimPrefix(word, "-"), "-"), "=")
		found := o.find(name)
		switch {
		case found == nil:
			return nil, o.unknown(name)
		case found.value == "" && hasValue:
			return nil, fmt.Errorf("--%s takes no value", name)
		case found.value != "" && !hasValue:
			if len(words) == 0 {
				return nil, fmt.Errorf("--%s needs a value: --%s %s", name, name, found.value)
			}
			value, words = words[0], words[1:]
		}
		if err := found.set(value); err != nil {
			return nil, fmt.Errorf("--%s: %w", name, err)
		}
	}
	return operands, nil
}

func (o *options) find(name string) *option {
	for i := range o.list {
		if o.list[i].name == name {
			return &o.list[i]
		}
	}
	return nil
}

func (o *options) unknown(name string) error {
	var names []string
	for _, have := range o.list {
		names = append(names, have.name)
	}
	text := fmt.Sprintf("%s has no option --%s", o.verb, name)
	if near := nearest(name, names); near != "" {
		text += fmt.Sprintf("; did you mean --%s?", near)
	}
	return errors.New(text)
}

func (o *options) usage() string {
	words := []string{"downlead", o.verb}
	if o.operands != "" {
		words = append(words, o.operands)
	}
	if len(o.list) > 0 {
		words = append(words, "[options]")
	}
	return strings.Join(words, " ")
}

// help returns the verb's usage text.
func (o *options) help() string {
	var b strings.Builder
	fmt.Fprintf(&b, "usage: %s\n\n%s\n", o.usage(), o.about)
	wide := 0
	for _, have := range o.list {
		wide = max(wide, len(have.name)+1+len(have.value))
	}
	if len(o.list) > 0 {
		b.WriteByte('\n')
	}
	for _, have := range o.list {
		fmt.Fprintf(&b, "  --%-*s  %s\n", wide, strings.TrimSpace(have.name+" "+have.value), have.help)
	}
	return b.String()
}

// The setters of the common kinds of option.

func toText(p *string) func(string) error {
	return func(s string) error { *p = s; return nil }
}

func toSwitch(p *bool) func(string) error {
	return func(string) error { *p = true; return nil }
}

func toLength(p *float64) func(string) error {
	return func(s string) (err error) { *p, err = parseLength(s); return err }
}

func toBand(low, high *float64) func(string) error {
	return func(s string) (err error) { *low, *high, err = parseBand(s); return err }
}

// nearest returns the candidate that differs from word by the fewest letters,
// or "" when none is near.
func nearest(word string, candidates []string) string {
	best, distance := "", 1+len(word)/3
	for _, c := range candidates {
		if d := tables.EditDistance(word, c); d <= distance && (best == "" || d < distance) {
			best, distance = c, d
		}
	}
	return best
}

// takeAny reads the words of a verb with any number of operands. It shows the
// help when that is asked for, and then reports done.
func (o *options) takeAny(words []string, out output) (operands []string, done bool, err error) {
	operands, err = o.read(words)
	if errors.Is(err, errHelp) {
		_, err = fmt.Fprint(out.stdout, o.help())
		return nil, true, err
	}
	return operands, false, err
}

// take is takeAny for a verb that needs exactly the operands that o.operands
// names.
func (o *options) take(words []string, out output) (operands []string, done bool, err error) {
	operands, done, err = o.takeAny(words, out)
	if done || err != nil {
		return nil, done, err
	}
	switch names := strings.Fields(o.operands); {
	case len(operands) < len(names):
		return nil, false, fmt.Errorf("%s is missing; usage: %s", names[len(operands)], o.usage())
	case len(operands) > len(names):
		return nil, false, fmt.Errorf("%q is one word too many; usage: %s", operands[len(names)], o.usage())
	}
	return operands, false, nil
}
