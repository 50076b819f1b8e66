package desk

import (
	"gioui.org/layout"

	"downlead/ui/chart"
)

// layoutSmith draws the view over frequency as reflection in its plane.
func (d *Desk) layoutSmith(gtx layout.Context) layout.Dimensions {
	content := chart.SmithContent{LimitColor: d.theme.Out}
	if line := d.document().Line; line != nil {
		content.LimitVSWR = line.Limits.LimitVSWR()
	}
	if p := d.drawn; p != nil {
		content.ReferenceOhm = p.referenceOhm
		if len(p.smith) > 0 {
			content.Loci = []chart.Locus{{Name: "reflection", FrequencyHz: p.smithHz, Gamma: p.smith, Color: d.theme.Frequency}}
		}
	}
	return d.plots.smith.Layout(gtx, d.chartStyle(), content)
}
