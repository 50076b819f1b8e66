package main

import (
	"slices"

	"downlead/dsp/diagnose"
)

// cautions adds the usual cautions and any further ones, each once.
func (p *page) cautions(further ...string) {
	p.heading("Before anybody touches the line")
	said := map[string]bool{}
	for _, c := range slices.Concat(diagnose.Cautions(), further) {
		if !said[c] {
			said[c] = true
			p.text("  · ", c)
		}
	}
}
