package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"

	"downlead/dsp/distance"
)

// plan chooses span, points and window for a line.
func plan(_ context.Context, words []string, out output) (int, error) {
	var choice lineChoice
	var request distance.Request
	var feet bool
	o := options{verb: "plan", about: "Chooses span, points and window of a sweep that resolves what is asked on a line, and says\nwhat limits them. Exit status 1: the resolution or the range cannot be reached.",
		list: append(choice.options(),
			option{"resolution", "LENGTH", "two equal faults this far apart shall show as two; else as fine as can be", toLength(&request.ResolutionM)},
			option{"range", "LENGTH", "look as far as this; else the line and a quarter", toLength(&request.RangeM)},
			option{"window", "NAME[:VALUE]", "the window; else one that fits", func(s string) (err error) {
				request.Window, err = parseWindow(s)
				return err
			}},
			option{"band", "LOW..HIGH", "what the instrument can sweep", toBand(&request.BandHz[0], &request.BandHz[1])},
			option{"points", "N", "the most points that the instrument takes", func(s string) error {
				n, err := strconv.Atoi(s)
				if err != nil || n < 2 {
					return fmt.Errorf("%q is not a number of points; give 2 or more", s)
				}
				request.MostPoints = n
				return nil
			}},
			option{"antenna", "", "the antenna itself shall be judged too: stay in its band", toSwitch(&request.AntennaInBand)},
			option{"feet", "", "lengths in feet", toSwitch(&feet)})}
	if _, done, err := o.take(words, out); done || err != nil {
		return statusPasses, err
	}
	if choice.file == "" && choice.lengthM == 0 && request.RangeM == 0 {
		return 0, errors.New("how long is the cable? give --length, --range or a --line file")
	}
	line, err := choice.read(func(float64) float64 { return request.RangeM })
	if err != nil {
		return 0, err
	}
	sweep, err := distance.Plan(line, request)
	if err != nil {
		return 0, err
	}
	scale := inMetres
	if feet {
		scale = inFeet
	}
	p := &page{}
	p.text("", line.Name)
	planReport(p, sweep, request, scale)
	if len(line.Notes) > 0 {
		p.heading("Worth knowing about this line")
		for _, note := range line.Notes {
			p.text("  · ", note)
		}
	}
	if _, err := io.WriteString(out.stdout, p.String()); err != nil {
		return 0, err
	}
	if !sweep.Met {
		return statusFault, nil
	}
	return statusPasses, nil
}

func planReport(p *page, plan *distance.SweepPlan, request distance.Request, scale lengthScale) {
	p.row("")
	word := "WITHIN REACH"
	if !plan.Met {
		word = "OUT OF REACH"
	}
	asked := "as fine as can be"
	if request.ResolutionM > 0 {
		asked = scale.text(request.ResolutionM) + " asked for"
	}
	f := plan.Figures
	p.text("  "+word+"   ", fmt.Sprintf("resolution %s, %s", scale.text(plan.ResolutionM), asked))
	p.row("")
	p.text("  span           ", fmt.Sprintf("%s to %s", frequencyText(plan.StartHz), frequencyText(plan.StopHz)))
	p.text("  points         ", fmt.Sprintf("%d, %s apart", plan.Points, frequencyText(f.StepHz)))
	p.text("  window         ", fmt.Sprintf("%s, highest side lobe %.0f dB, profile's noise %.0f dB below that of one point", windowText(plan.Window), f.HighestSideLobeDB, -f.NoiseGainDB))
	p.text("  range          ", scale.text(f.AliasFreeM)+" until echoes fold back")
	p.text("  cell           ", fmt.Sprintf("%s; main lobe %s wide at -3 dB, %s at -6 dB", scale.text(f.CellM), scale.text(f.MainLobe3DBM), scale.text(f.MainLobe6DBM)))
	p.heading("In words, in metres")
	for _, sentence := range plan.Sentences {
		p.text("  · ", sentence)
	}
	var slack []string
	for _, limit := range plan.Limits {
		if !limit.Binding {
			slack = append(slack, limit.Sentence)
		}
	}
	if len(slack) > 0 {
		p.heading("What bounds a sweep of this line, but not this one")
		for _, sentence := range slack {
			p.text("  · ", sentence)
		}
	}
}
