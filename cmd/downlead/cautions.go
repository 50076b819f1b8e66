package main

import "slices"

// cautions are what to keep to whenever a text suggests touching the line.
// Common practice, no source; local codes come first.
func cautions() []string {
	return []string{
		"Switch the transmitter off and lock it out before anything is disconnected or measured.",
		"The line may carry direct current for amplifiers or controllers: make it dead and check that it is.",
		"Radio-frequency exposure: other antennas near the path of work may radiate; keep to the site's limits and distances.",
		"Work at height needs people trained and equipped for it; stay off the tower in wind, ice or a thunderstorm.",
		"Local codes, the site's rules and licensed practice come first. This report advises; it certifies nothing.",
	}
}

// cautions adds the usual cautions and any further ones, each once.
func (p *page) cautions(further ...string) {
	p.heading("Before anybody touches the line")
	said := map[string]bool{}
	for _, c := range slices.Concat(cautions(), further) {
		if !said[c] {
			said[c] = true
			p.text("  · ", c)
		}
	}
}
