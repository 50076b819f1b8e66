package desk

import (
	"slices"
	"time"

	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/widget"

	"downlead/ui/theme"
)

// notice is something that the user has to know: an error with its file, line
// and mend, or a note.
type notice struct {
	bad      bool
	fleeting bool // goes by itself
	text     string
	acts     []act     // what can be done about it
	since    time.Time // when it was first drawn, of one that goes by itself
}

// noteTime is how long a note stays that goes by itself.
const noteTime = 8 * time.Second

// act is a word of a notice that can be pressed; the notice goes with it.
type act struct {
	word string
	do   func(*Desk)
}

// notices stand between the top bar and the panels until they are put away.
type notices struct {
	list []notice
	away [mostNotices]widget.Clickable
	acts [mostNotices][mostActs]widget.Clickable
}

// mostNotices is how many are shown; the oldest give way.
const (
	mostNotices = 4
	mostActs    = 2
)

func (n *notices) add(one notice) {
	for _, old := range n.list {
		if old.text == one.text {
			return
		}
	}
	n.list = append(n.list, one)
	if len(n.list) > mostNotices {
		n.list = n.list[1:]
	}
}

// fail shows an error.
func (d *Desk) fail(err error) {
	if err != nil {
		d.notices.add(notice{bad: true, text: err.Error()})
	}
}

// say shows a note that stays until it is put away, mention one that goes by
// itself.
func (d *Desk) say(text string)     { d.notices.add(notice{text: text}) }
func (d *Desk) mention(text string) { d.notices.add(notice{text: text, fleeting: true}) }

func (d *Desk) updateNotices(gtx layout.Context) {
	d.notices.list = slices.DeleteFunc(d.notices.list, func(n notice) bool {
		return n.fleeting && !n.since.IsZero() && gtx.Now.Sub(n.since) >= noteTime
	})
	for i := range d.notices.list {
		if n := &d.notices.list[i]; n.fleeting {
			if n.since.IsZero() {
				n.since = gtx.Now
			}
			gtx.Execute(op.InvalidateCmd{At: n.since.Add(noteTime)})
		}
	}
	for i, n := range d.notices.list {
		done := d.notices.away[i].Clicked(gtx)
		for k, a := range n.acts {
			if d.notices.acts[i][k].Clicked(gtx) {
				a.do(d)
				done = true
			}
		}
		if done {
			d.notices.list = slices.DeleteFunc(slices.Clone(d.notices.list), func(one notice) bool { return one.text == n.text })
			return
		}
	}
}

// layoutNotices draws the standing warning about the calibration, which cannot
// be put away, and the notices.
func (d *Desk) layoutNotices(gtx layout.Context) layout.Dimensions {
	var rows []layout.FlexChild
	row := func(text string, bad bool, acts []act, press []widget.Clickable, away *widget.Clickable) {
		rows = append(rows, layout.Rigid(func(gtx layout.Context) layout.Dimensions {
			ground, ink := d.theme.Panel, d.theme.Ink
			if bad {
				ground, ink = d.theme.Warning, d.theme.Out
			}
			return layout.Inset{Top: gap, Left: gap, Right: gap}.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
				return filled(gtx, ground, func(gtx layout.Context) layout.Dimensions {
					return layout.Inset{Top: 7, Bottom: 7, Left: 12, Right: 8}.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
						parts := []layout.FlexChild{layout.Flexed(1, d.words(text, ink))}
						for k := range acts {
							parts = append(parts, layout.Rigid(d.plain(&press[k], acts[k].word)))
						}
						if away != nil {
							parts = append(parts, layout.Rigid(func(gtx layout.Context) layout.Dimensions {
								return d.theme.Button(gtx, away, theme.Button{Text: "put away", Plain: true})
							}))
						}
						return layout.Flex{Alignment: layout.Middle}.Layout(gtx, parts...)
					})
				})
			})
		}))
	}
	if text := d.calibrationNotice(); text != "" {
		row(text, true, nil, nil, nil)
	}
	for i, n := range d.notices.list {
		row(n.text, n.bad, n.acts, d.notices.acts[i][:], &d.notices.away[i])
	}
	return layout.Flex{Axis: layout.Vertical}.Layout(gtx, rows...)
}
