package main

import (
	"strings"
	"unicode/utf8"
)

// pageColumns is the widest row of a text report.
const pageColumns = 98

// page is a text report in the making. With ascii set it holds ASCII only.
type page struct {
	ascii bool
	b     strings.Builder
}

// words of text, and signs of one column each in drawings, that ASCII lacks.
var (
	asciiWords = strings.NewReplacer("±", "+/-", "·", "-", "Ω", "ohm", "Γ", "Gamma", "σ", "sigma", "λ", "lambda", "√", "sqrt",
		"≥", ">=", "≤", "<=", "≈", "~", "×", "x", "−", "-", "–", "-", "—", "-", "→", "->", "°", " deg", "µ", "u", "μ", "u", "²", "^2", "…", "...")
	asciiSigns = strings.NewReplacer("━", "=", "═", "-", "┿", "+", "┣", "|", "▣", "#", "◁", "<", "▮", "T", "┫", "]", "○", "o",
		"▲", "^", "╌", "-", "│", "|", "└", "`", "┘", "'", "┌", ",", "┐", ".", "─", "-", "┬", "+", "█", "#", "▇", "#", "▆", "#", "▅", "=", "▄", "=", "▃", "-", "▂", "-", "▁", "_", "░", ".", "▒", ":", "▓", "*")
)

// plain rewrites text for the page's character set; call it before measuring.
func (p *page) plain(text string) string {
	if !p.ascii {
		return text
	}
	return asciiWords.Replace(text)
}

// row adds one row as it is.
func (p *page) row(text string) {
	if p.ascii {
		text = strings.Map(func(r rune) rune {
			if r > 126 {
				return '?'
			}
			return r
		}, asciiSigns.Replace(p.plain(text)))
	}
	p.b.WriteString(strings.TrimRight(text, " "))
	p.b.WriteByte('\n')
}

// heading adds a blank row and a title on a rule.
func (p *page) heading(title string) {
	p.row("")
	title = p.plain("── " + title + " ")
	p.row(title + strings.Repeat("─", max(0, pageColumns-utf8.RuneCountInString(title))))
}

// text adds a paragraph: first before its first row, as many spaces before the
// others.
func (p *page) text(first, text string) {
	first = p.plain(first)
	indent := strings.Repeat(" ", utf8.RuneCountInString(first))
	for i, line := range wrapped(p.plain(text), pageColumns-len(indent)) {
		if i == 0 {
			p.row(first + line)
		} else {
			p.row(indent + line)
		}
	}
}

// loud adds a paragraph that cannot be overlooked.
func (p *page) loud(text string) {
	rule := "  " + strings.Repeat("█", pageColumns-2)
	p.row(rule)
	for _, line := range wrapped(p.plain(text), pageColumns-6) {
		p.row("  █ " + line)
	}
	p.row(rule)
}

func (p *page) String() string { return p.b.String() }

// wrapped breaks text at spaces into rows of at most columns characters; a
// longer word has a row of its own.
func wrapped(text string, columns int) []string {
	var rows []string
	row, used := "", 0
	for _, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		if used > 0 && used+1+n > columns {
			rows = append(rows, row)
			row, used = "", 0
		}
		if used > 0 {
			row += " "
			used++
		}
		row += word
		used += n
	}
	return append(rows, row)
}
