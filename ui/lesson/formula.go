package lesson

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"downlead/cables/tables"
)

// Value is what a formula gives: a number, a text or a truth.
type Value struct {
	Number float64
	Text   string
	True   bool
	Kind   ValueKind
	Alike  []string // of a cause: others that the scenario cannot tell from it
}

// ValueKind says which of a Value's fields holds.
type ValueKind int

// The kinds of values.
const (
	IsNumber ValueKind = iota
	IsText
	IsTruth
)

func (k ValueKind) String() string { return [...]string{"a number", "a text", "true or false"}[k] }

func number(v float64) Value { return Value{Number: v} }
func text(s string) Value    { return Value{Text: s, Kind: IsText} }
func truth(b bool) Value     { return Value{True: b, Kind: IsTruth} }

// Formula is an expression that the engine works out. The zero value is empty.
type Formula struct {
	Source string
	place  place
	eval   node
}

// Empty says that there is no formula.
func (f *Formula) Empty() bool { return f.eval == nil }

type node func(ctx context.Context, s *Scene) (Value, error)

// Bounds of a formula.
const (
	mostFormula = 400
	mostNesting = 40
)

// parseFormula reads a formula.
func parseFormula(source string, at place) (Formula, error) {
	if len(source) > mostFormula {
		return Formula{}, fmt.Errorf("a formula of %d bytes is longer than %d; shorten it", len(source), mostFormula)
	}
	p := parser{source: source}
	p.next()
	n, err := p.either(0)
	if err == nil && p.token != "" {
		err = fmt.Errorf("%q is not expected after a whole formula", clip(p.token))
	}
	if err == nil && p.wrong != nil {
		err = p.wrong
	}
	if err != nil {
		return Formula{}, fmt.Errorf("formula %q: %w", clip(source), err)
	}
	return Formula{source, at, n}, nil
}

func clip(s string) string {
	if len(s) <= 80 {
		return s
	}
	cut := 77
	for cut > 0 && !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "..."
}

// parser descends recursively; token is the next one, "" at the end.
type parser struct {
	source string
	token  string
	quoted bool // the token is a text
	wrong  error
}

func (p *parser) next() {
	s := strings.TrimLeft(p.source, " \t\n\r")
	p.token, p.quoted, p.source = "", false, ""
	if s == "" {
		return
	}
	take := func(n int) { p.token, p.source = s[:n], s[n:] }
	c := s[0]
	switch {
	case c == '"':
		end := strings.IndexByte(s[1:], '"')
		if end < 0 {
			p.wrong = errors.New("a text has no closing quote")
			return
		}
		p.token, p.quoted, p.source = s[1:1+end], true, s[2+end:]
		if p.token == "" {
			p.wrong = errors.New("a text is empty")
		}
	case c >= '0' && c <= '9' || c == '.':
		n := 1
		for n < len(s) && (s[n] >= '0' && s[n] <= '9' || s[n] == '.' || s[n] == 'e' || s[n] == 'E' || (s[n] == '+' || s[n] == '-') && (s[n-1] == 'e' || s[n-1] == 'E')) {
			n++
		}
		take(n)
	case isLetter(c):
		n := 1
		for n < len(s) && (isLetter(s[n]) || s[n] >= '0' && s[n] <= '9' || s[n] == '.') {
			n++
		}
		take(n)
	case len(s) > 1 && s[1] == '=' && strings.IndexByte("<>=!", c) >= 0:
		take(2)
	case strings.IndexByte("+-*/()[],<>", c) >= 0:
		take(1)
	default:
		_, n := utf8.DecodeRuneInString(s)
		p.wrong = fmt.Errorf("%q does not belong into a formula", s[:n])
	}
}

func isLetter(c byte) bool { return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '_' }

// is says whether the next token is one of the signs or words.
func (p *parser) is(tokens ...string) bool {
	for _, t := range tokens {
		if !p.quoted && p.token == t {
			return true
		}
	}
	return false
}

// infix reads operands joined by operators of one rank.
func (p *parser) infix(depth int, operand func(int) (node, error), operators []string, once bool) (node, error) {
	left, err := operand(depth)
	for err == nil && p.is(operators...) {
		operator := p.token
		p.next()
		var right node
		if right, err = operand(depth); err != nil {
			return nil, err
		}
		left = join(operator, left, right)
		if once {
			break
		}
	}
	return left, err
}

func (p *parser) either(depth int) (node, error) {
	if depth > mostNesting {
		return nil, fmt.Errorf("brackets nest more than %d deep", mostNesting)
	}
	return p.infix(depth, p.both, []string{"or"}, false)
}

func (p *parser) both(depth int) (node, error) {
	return p.infix(depth, p.negated, []string{"and"}, false)
}

func (p *parser) comparison(depth int) (node, error) {
	return p.infix(depth, p.sum, []string{"<", "<=", ">", ">=", "==", "!="}, true)
}

func (p *parser) sum(depth int) (node, error) {
	return p.infix(depth, p.product, []string{"+", "-"}, false)
}

func (p *parser) product(depth int) (node, error) {
	return p.infix(depth, p.sign, []string{"*", "/"}, false)
}

// negated and sign read what stands behind not and minus; not reaches over a
// comparison.
func (p *parser) negated(depth int) (node, error) {
	return p.prefix(depth, "not", p.negated, p.comparison)
}

func (p *parser) sign(depth int) (node, error) {
	return p.prefix(depth, "-", p.sign, p.primary)
}

func (p *parser) prefix(depth int, operator string, again, otherwise func(int) (node, error)) (node, error) {
	if depth > mostNesting {
		return nil, fmt.Errorf("signs nest more than %d deep", mostNesting)
	}
	if !p.is(operator) {
		return otherwise(depth)
	}
	p.next()
	n, err := again(depth + 1)
	if err != nil {
		return nil, err
	}
	return func(ctx context.Context, s *Scene) (Value, error) {
		v, err := n(ctx, s)
		switch {
		case err != nil:
			return v, err
		case operator == "-" && v.Kind == IsNumber:
			return number(-v.Number), nil
		case operator == "not" && v.Kind == IsTruth:
			return truth(!v.True), nil
		}
		return Value{}, fmt.Errorf("%q stands before %v", operator, v.Kind)
	}, nil
}

func (p *parser) primary(depth int) (node, error) {
	if p.wrong != nil {
		return nil, p.wrong
	}
	token := p.token
	switch {
	case p.quoted:
		p.next()
		return constant(text(token)), nil
	case token == "":
		return nil, errors.New("it ends where a number or a quantity is expected")
	case token == "(":
		p.next()
		n, err := p.either(depth + 1)
		if err != nil {
			return nil, err
		}
		return n, p.expect(")")
	case token[0] >= '0' && token[0] <= '9' || token[0] == '.':
		v, err := strconv.ParseFloat(token, 64)
		if err != nil || math.IsInf(v, 0) {
			return nil, fmt.Errorf("%q is not a number", clip(token))
		}
		p.next()
		return constant(number(v)), nil
	case token == "true" || token == "false":
		p.next()
		return constant(truth(token == "true")), nil
	case isLetter(token[0]) && !p.is("and", "or", "not"):
		return p.quantity(depth)
	}
	return nil, fmt.Errorf("%q stands where a number or a quantity is expected", clip(token))
}

func constant(v Value) node { return func(context.Context, *Scene) (Value, error) { return v, nil } }

func (p *parser) expect(token string) error {
	if p.wrong != nil {
		return p.wrong
	}
	if !p.is(token) {
		if p.token == "" {
			return fmt.Errorf("%q is missing at its end", token)
		}
		return fmt.Errorf("%q stands where %q is expected", clip(p.token), token)
	}
	p.next()
	return nil
}

// quantity reads a name, with its index or its arguments.
func (p *parser) quantity(depth int) (node, error) {
	name, index := p.token, 0
	p.next()
	if p.is("[") {
		p.next()
		n, err := strconv.Atoi(p.token)
		if err != nil || n < 1 || n > 1000 {
			return nil, fmt.Errorf("%s[%s] is counted from 1", name, clip(p.token))
		}
		index = n
		p.next()
		if !p.is("]") || !strings.HasPrefix(p.source, ".") {
			return nil, fmt.Errorf("%s[%d] is followed by a dot and what of it is meant", name, n)
		}
		p.source = p.source[1:]
		p.next()
		if p.wrong == nil && (p.quoted || p.token == "" || !isLetter(p.token[0])) {
			return nil, fmt.Errorf("%s[%d] is followed by a dot and what of it is meant", name, n)
		}
		name += "[]." + p.token
		p.next()
	}
	var arguments []node
	if p.is("(") {
		p.next()
		for !p.is(")") {
			n, err := p.either(depth + 1)
			if err != nil {
				return nil, err
			}
			arguments = append(arguments, n)
			if !p.is(",") {
				break
			}
			p.next()
		}
		if err := p.expect(")"); err != nil {
			return nil, err
		}
	}
	q, known := quantities()[name]
	if !known {
		return nil, unknownQuantity(name)
	}
	if len(arguments) != len(q.arguments) {
		return nil, fmt.Errorf("%s takes %d values in brackets, not %d: %s", name, len(q.arguments), len(arguments), q.usage(name))
	}
	return func(ctx context.Context, s *Scene) (Value, error) {
		values := make([]float64, len(arguments))
		for i, a := range arguments {
			v, err := a(ctx, s)
			if err != nil {
				return v, err
			}
			if v.Kind != IsNumber {
				return v, fmt.Errorf("%s takes numbers, not %v", name, v.Kind)
			}
			values[i] = v.Number
		}
		v, err := q.eval(ctx, s, index, values)
		if err != nil {
			return v, fmt.Errorf("%s: %w", strings.Replace(name, "[]", fmt.Sprintf("[%d]", index), 1), err)
		}
		return v, nil
	}, nil
}

func unknownQuantity(name string) error {
	best, distance := "", 1+len(name)/3
	for known := range quantities() {
		if d := tables.EditDistance(name, known); d < distance || d == distance && known < best {
			best, distance = known, d
		}
	}
	mend := "the list is in the package's documentation and in downlead lesson --quantities"
	if best != "" {
		mend = fmt.Sprintf("did you mean %q?", best)
	}
	return fmt.Errorf("no quantity is called %q; %s", clip(name), mend)
}

// join evaluates two operands and an operator.
func join(operator string, left, right node) node {
	return func(ctx context.Context, s *Scene) (Value, error) {
		a, err := left(ctx, s)
		if err != nil {
			return a, err
		}
		// The right side of and, or is not worked out where it does not matter.
		if operator == "and" && a.Kind == IsTruth && !a.True || operator == "or" && a.Kind == IsTruth && a.True {
			return a, nil
		}
		b, err := right(ctx, s)
		if err != nil {
			return b, err
		}
		if a.Kind != b.Kind {
			return Value{}, fmt.Errorf("%q joins %v and %v", operator, a.Kind, b.Kind)
		}
		switch a.Kind {
		case IsTruth:
			switch operator {
			case "and", "or":
				return b, nil
			case "==":
				return truth(a.True == b.True), nil
			case "!=":
				return truth(a.True != b.True), nil
			}
		case IsText:
			switch operator {
			case "==":
				return truth(a.Text == b.Text), nil
			case "!=":
				return truth(a.Text != b.Text), nil
			}
		default:
			x, y := a.Number, b.Number
			switch operator {
			case "+":
				return number(x + y), nil
			case "-":
				return number(x - y), nil
			case "*":
				return number(x * y), nil
			case "/":
				if y == 0 {
					return Value{}, errors.New("something is divided by zero")
				}
				return number(x / y), nil
			case "<":
				return truth(x < y), nil
			case "<=":
				return truth(x <= y), nil
			case ">":
				return truth(x > y), nil
			case ">=":
				return truth(x >= y), nil
			case "==":
				return truth(x == y), nil
			case "!=":
				return truth(x != y), nil
			}
		}
		return Value{}, fmt.Errorf("%q cannot join %v", operator, a.Kind)
	}
}
