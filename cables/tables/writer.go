package tables

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/BurntSushi/toml"
)

// FormatNumber writes a TOML float that reads back as the same number.
func FormatNumber(x float64) string {
	if size := math.Abs(x); size != 0 && (size < 1e-4 || size >= 1e7) {
		return strconv.FormatFloat(x, 'e', -1, 64)
	}
	s := strconv.FormatFloat(x, 'f', -1, 64)
	if !strings.Contains(s, ".") {
		s += ".0"
	}
	return s
}

// FormatHertz writes a frequency in megahertz, such as 824e6, where that reads
// back as the same number.
func FormatHertz(f float64) string {
	s := strconv.FormatFloat(f/1e6, 'f', -1, 64) + "e6"
	if back, err := strconv.ParseFloat(s, 64); err == nil && back == f && len(s) <= 16 {
		return s
	}
	return FormatNumber(f)
}

// FormatText writes a TOML basic string. What is not UTF-8 is replaced.
func FormatText(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range strings.ToValidUTF8(s, "\ufffd") {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// formatParagraphs writes a text of several lines as TOML's multi-line string, so
// that files compare well line by line.
func formatParagraphs(s string) string {
	var b strings.Builder
	b.WriteString("\"\"\"\n")
	s = strings.ToValidUTF8(s, "\ufffd")
	for i, r := range s {
		switch {
		case r == '\\':
			b.WriteString(`\\`)
		case r == '"' && (i+1 == len(s) || s[i+1] == '"'):
			b.WriteString(`\"`)
		case r == '\n' || r == '\t':
			b.WriteRune(r)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteString("\"\"\"")
	return b.String()
}

// FormatValue writes a plain value as it comes from Table.Rest: one line, lists
// and tables inline, keys sorted.
func FormatValue(value any) (string, error) {
	switch v := value.(type) {
	case string:
		return FormatText(v), nil
	case bool:
		return strconv.FormatBool(v), nil
	case int64:
		return strconv.FormatInt(v, 10), nil
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return strings.ToLower(strings.TrimPrefix(strconv.FormatFloat(v, 'g', -1, 64), "+")), nil
		}
		return FormatNumber(v), nil
	case time.Time: // TOML's local dates and times are the library's own
		var line strings.Builder
		if err := toml.NewEncoder(&line).Encode(map[string]any{"x": v}); err != nil {
			return "", err
		}
		_, text, _ := strings.Cut(strings.TrimSpace(line.String()), "=")
		return strings.TrimSpace(text), nil
	case []any:
		return formatList(v)
	case []map[string]any:
		return formatList(v)
	case map[string]any:
		var parts []string
		for _, key := range slices.Sorted(maps.Keys(v)) {
			text, err := FormatValue(v[key])
			if err != nil {
				return "", err
			}
			parts = append(parts, FormatKey(key)+" = "+text)
		}
		return "{" + strings.Join(parts, ", ") + "}", nil
	}
	return "", fmt.Errorf("a value of type %T cannot be written as TOML", value)
}

func formatList[T any](list []T) (string, error) {
	parts := make([]string, len(list))
	for i, one := range list {
		var err error
		if parts[i], err = FormatValue(any(one)); err != nil {
			return "", err
		}
	}
	return "[" + strings.Join(parts, ", ") + "]", nil
}

// FormatKey writes a key, in quotes where TOML wants them.
func FormatKey(key string) string {
	bare := key != ""
	for _, r := range key {
		bare = bare && (r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '_' || r == '-')
	}
	if bare {
		return key
	}
	return FormatText(key)
}

// Writer writes TOML one key a line, so that files compare well line by line.
// Keys whose value is zero are left out, except with Key.
type Writer struct {
	strings.Builder
	Under string // stands before the names of tables, such as "line."
}

// Table begins the table of this name.
func (w *Writer) Table(name string) { fmt.Fprintf(w, "\n[%s%s]\n", w.Under, name) }

// Entry begins the next table of the list of this name.
func (w *Writer) Entry(name string) { fmt.Fprintf(w, "\n[[%s%s]]\n", w.Under, name) }

// Key writes a key and its value as TOML.
func (w *Writer) Key(key, value string) { fmt.Fprintf(w, "%s = %s\n", key, value) }

// Text writes a text, over several lines where it has some.
func (w *Writer) Text(key, s string) {
	switch {
	case strings.Contains(s, "\n"):
		w.Key(key, formatParagraphs(s))
	case s != "":
		w.Key(key, FormatText(s))
	}
}

// Number writes a number.
func (w *Writer) Number(key string, x float64) {
	if x != 0 {
		w.Key(key, FormatNumber(x))
	}
}

// Hertz writes a frequency.
func (w *Writer) Hertz(key string, f float64) {
	if f != 0 {
		w.Key(key, FormatHertz(f))
	}
}

// Band writes a pair of frequencies.
func (w *Writer) Band(key string, band [2]float64) {
	if band != [2]float64{} {
		w.Key(key, "["+FormatHertz(band[0])+", "+FormatHertz(band[1])+"]")
	}
}
