package desk

import (
	"fmt"
	"math"
	"strings"

	"gioui.org/layout"
	"gioui.org/widget"

	"downlead/cables"
	"downlead/ui/chart"
	"downlead/ui/theme"
)

// picker finds a cable in the catalogue for the chosen section, or takes one
// that the user enters.
type picker struct {
	words   widget.Editor
	asked   string
	fresh   bool
	found   []cables.Type
	rows    []widget.Clickable
	looked  int // index in found of the one that is shown in full; -1: none
	take    widget.Clickable
	more    widget.Clickable
	most    int
	curve   chart.Chart
	curveOf string
	series  *chart.Series

	own                       widget.Clickable
	entering                  bool
	name, ohm, velocity, loss widget.Editor
	keep                      widget.Clickable
	bad                       string
}

// How many rows are shown at first, and with each "more".
const rowsShown = 6

func (p *picker) init() {
	p.looked, p.most, p.fresh = -1, rowsShown, true
	for _, e := range []*widget.Editor{&p.words, &p.name, &p.ohm, &p.velocity, &p.loss} {
		e.SingleLine = true
	}
}

func (d *Desk) updatePicker(gtx layout.Context) {
	p := &d.picker
	if changed(gtx, &p.words) || p.fresh {
		p.asked, p.fresh = p.words.Text(), false
		p.found = d.catalog.Search(strings.Fields(p.asked)...)
		p.rows = make([]widget.Clickable, len(p.found))
		p.looked, p.most = -1, rowsShown
	}
	for i := range p.rows {
		for p.rows[i].Clicked(gtx) {
			if p.looked == i {
				p.looked = -1
			} else {
				p.looked = i
			}
		}
	}
	for p.more.Clicked(gtx) {
		p.most += 3 * rowsShown
	}
	for p.take.Clicked(gtx) {
		if p.looked >= 0 {
			d.fail(d.setCable(p.found[p.looked]))
		}
	}
	for p.own.Clicked(gtx) {
		p.entering = !p.entering
	}
	for p.keep.Clicked(gtx) {
		d.keepCable()
	}
}

// setCable makes the chosen section of the cable; without a chosen section, and
// with only one, that one.
func (d *Desk) setCable(t cables.Type) error {
	e := &d.editor
	i := e.chosen
	if e.line == nil {
		return d.edit("begin a line of "+t.Name, "", func(line *cables.Line) error {
			withCable(line, t)
			line.Sections = []cables.Section{{Name: "feeder", CableID: t.ID, LengthM: 30}}
			return nil
		})
	}
	if i < 0 && len(e.line.Sections) == 1 {
		i = 0
	}
	if i < 0 {
		return fmt.Errorf("choose the section that is to be made of this cable first")
	}
	return d.edit(fmt.Sprintf("make %s of %s", e.line.Sections[i].Name, t.Name), "", func(line *cables.Line) error {
		withCable(line, t)
		line.Sections[i].CableID = t.ID
		return nil
	})
}

// keepCable takes the cable that was entered into the user's catalogue.
func (d *Desk) keepCable() {
	p := &d.picker
	t, err := p.entered()
	if err == nil {
		err = cables.SaveUserCable(t)
	}
	if err != nil {
		p.bad = err.Error()
		return
	}
	p.bad, p.entering = "", false
	if d.catalog, err = cables.LoadCatalogue(); err != nil {
		d.fail(err)
		d.catalog, _ = cables.Embedded()
	}
	setText(&p.words, t.Name)
	p.fresh = true
	where, _ := cables.UserCataloguePath()
	d.mention(t.Name + " is kept in " + where)
}

// entered reads the fields of a cable of one's own.
func (p *picker) entered() (cables.Type, error) {
	name := strings.TrimSpace(p.name.Text())
	if name == "" {
		return cables.Type{}, fmt.Errorf("the cable needs a name")
	}
	read := func(e *widget.Editor, what string, low, high float64) (float64, error) {
		v, err := readNumber(e.Text())
		if err != nil || v < low || v > high {
			return 0, fmt.Errorf("the %s must be a number from %g to %g", what, low, high)
		}
		return v, nil
	}
	ohm, err := read(&p.ohm, "impedance", 10, 300)
	if err != nil {
		return cables.Type{}, err
	}
	velocity, err := read(&p.velocity, "velocity factor", 0.3, 1)
	if err != nil {
		return cables.Type{}, err
	}
	loss, err := read(&p.loss, "loss at 1 GHz, dB per 100 m,", 0, 1000)
	if err != nil {
		return cables.Type{}, err
	}
	id := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		}
		return '-'
	}, strings.ToLower(name))
	return cables.Type{ID: id, Name: name, ImpedanceOhm: ohm, VelocityFactor: velocity, VelocityFactorTolerance: cables.AssumedVelocityTolerance * velocity,
		Attenuation: []cables.AttenuationPoint{{FrequencyHz: 1e9, DBPerHundredM: loss}}, Source: "entered by hand"}, nil
}

// about is a cable in a line: what one chooses by.
func about(t *cables.Type) string {
	text := fmt.Sprintf("velocity %.3g", t.VelocityFactor)
	if t.VelocityFactorTolerance > 0 {
		text += fmt.Sprintf(" ± %.2g", t.VelocityFactorTolerance)
	}
	if db, ok := lossAt(t, 1e9); ok {
		text += fmt.Sprintf(" · %.1f dB/100 m at 1 GHz", db)
	}
	return text + fmt.Sprintf(" · %.3g Ω", t.ImpedanceOhm)
}

// lossAt is the attenuation of a cable by its law, dB per 100 m.
func lossAt(t *cables.Type, hz float64) (float64, bool) {
	medium, err := t.Medium()
	if err != nil || len(t.Attenuation) == 0 {
		return 0, false
	}
	return medium.AttenuationNp(hz) / cables.NeperPerDB * 100, true
}

// lossCurve is the attenuation over frequency, as far as the cable is good for.
func lossCurve(t *cables.Type) *chart.Series {
	top := t.MaxFrequencyHz
	if top == 0 {
		top = 3e9
	}
	s := &chart.Series{}
	for k := range 101 {
		f := 10e6 * math.Pow(top/10e6, float64(k)/100)
		if db, ok := lossAt(t, f); ok {
			s.X, s.Y = append(s.X, f), append(s.Y, db)
		}
	}
	return s
}

func (d *Desk) layoutPicker(gtx layout.Context) layout.Dimensions {
	p, e := &d.picker, &d.editor
	title := "Cables"
	if e.line != nil && e.chosen >= 0 && e.chosen < len(e.line.Sections) {
		title = "Cable for “" + e.line.Sections[e.chosen].Name + "”"
	}
	all := []layout.Widget{
		func(gtx layout.Context) layout.Dimensions {
			return layout.Flex{Alignment: layout.Baseline}.Layout(gtx, layout.Flexed(1, d.heading(title)), layout.Rigid(d.small(fmt.Sprintf("%d found", len(p.found)), d.theme.Quiet)))
		},
		func(gtx layout.Context) layout.Dimensions {
			return d.theme.Editor(gtx, &p.words, theme.Entry{Hint: "search: 7/8 foam, rg213, 75 …", Name: "search for a cable"})
		},
	}
	for i := range p.found {
		if i >= p.most {
			all = append(all, d.plain(&p.more, fmt.Sprintf("%d more…", len(p.found)-i)))
			break
		}
		t := &p.found[i]
		all = append(all, func(gtx layout.Context) layout.Dimensions {
			return d.theme.Row(gtx, &p.rows[i], "cable "+t.Name, p.looked == i, func(gtx layout.Context) layout.Dimensions {
				return column(gtx, 1, d.theme.Text(theme.Label{Text: t.Name, Lines: 1}), d.theme.Text(theme.Label{Text: about(t), Lines: 2, Color: d.theme.Quiet, Size: d.theme.Small()}))
			})
		})
		if p.looked == i {
			all = append(all, d.layoutCable)
		}
	}
	if len(p.found) == 0 {
		all = append(all, d.words("no cable fits all of these words", d.theme.Quiet))
	}
	all = append(all, d.plain(&p.own, "enter a cable of your own"))
	if p.entering {
		all = append(all, d.layoutEntry)
	}
	return column(gtx, 4, all...)
}

// layoutCable shows the cable that is looked at in full.
func (d *Desk) layoutCable(gtx layout.Context) layout.Dimensions {
	p := &d.picker
	t := &p.found[p.looked]
	if p.curveOf != t.ID {
		p.curveOf, p.series = t.ID, lossCurve(t)
		p.curve = chart.Chart{}
	}
	source := "source: " + t.Source
	if t.Source == "" {
		source = "no source stated"
	}
	facts := about(t)
	if t.MaxFrequencyHz > 0 {
		facts += " · to " + hertz(t.MaxFrequencyHz)
	}
	if t.DiameterMM > 0 {
		facts += fmt.Sprintf(" · %.3g mm thick", t.DiameterMM)
	}
	return column(gtx, 5,
		d.small(facts, d.theme.Ink),
		func(gtx layout.Context) layout.Dimensions {
			if len(p.series.X) < 2 {
				return d.small("no attenuation stated", d.theme.Quiet)(gtx)
			}
			gtx.Constraints.Max.Y = gtx.Dp(130)
			content := chart.Content{Name: "attenuation of " + t.Name,
				X:      [2]chart.Axis{{Quantity: chart.Hertz, Scale: chart.Log, Low: p.series.X[0], High: p.series.X[len(p.series.X)-1]}, {}},
				Y:      chart.Axis{Quantity: chart.Decibel, Low: p.series.Y[len(p.series.Y)-1] * 1.05, High: 0},
				Traces: []chart.Trace{{Name: "dB per 100 m", Series: p.series, Color: d.theme.Frequency, Width: 1.4}}}
			p.curve.Update(gtx, content)
			return p.curve.Layout(gtx, d.chartStyle())
		},
		d.small("dB per 100 m over frequency", d.theme.Quiet),
		d.small(source, d.theme.Quiet),
		func(gtx layout.Context) layout.Dimensions {
			return d.theme.Button(gtx, &p.take, theme.Button{Text: "Make the section of this", Strong: true})
		})
}

func (d *Desk) layoutEntry(gtx layout.Context) layout.Dimensions {
	p := &d.picker
	field := func(e *widget.Editor, entry theme.Entry) layout.Widget {
		return func(gtx layout.Context) layout.Dimensions { return d.theme.Editor(gtx, e, entry) }
	}
	all := []layout.Widget{
		field(&p.name, theme.Entry{Hint: "name", Name: "name of the cable"}),
		field(&p.ohm, theme.Entry{Hint: "impedance", Unit: "Ω", Name: "impedance, ohm"}),
		field(&p.velocity, theme.Entry{Hint: "velocity factor", Name: "velocity factor"}),
		field(&p.loss, theme.Entry{Hint: "loss at 1 GHz", Unit: "dB/100 m", Name: "loss at 1 GHz"}),
	}
	if p.bad != "" {
		all = append(all, d.words(p.bad, d.theme.Out))
	}
	all = append(all, func(gtx layout.Context) layout.Dimensions {
		return d.theme.Button(gtx, &p.keep, theme.Button{Text: "Keep in my catalogue"})
	})
	return column(gtx, 5, all...)
}
