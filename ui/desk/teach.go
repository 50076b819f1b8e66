package desk

import (
	"gioui.org/layout"
	"gioui.org/op"

	"downlead/ui/bench"
)

// teach is the room for teaching, which is made when it is first entered.
type teach struct {
	on         bool
	bench      *bench.Bench
	fullScreen func(bool)
}

// goTeaching shows the fault bench in place of the investigation, which stays as it
// is.
func (d *Desk) goTeaching() {
	if d.teach.bench == nil {
		b, err := bench.New(bench.Options{Notify: d.notify, FullScreen: d.teach.fullScreen, Folder: d.browser.folder})
		if err != nil {
			d.fail(err)
			return
		}
		d.teach.bench = b
	}
	d.teach.bench.Offer(d.document().Line)
	d.teach.on = true
}

// frameTeaching is Frame while the room for teaching is shown. What has to be asked
// about the investigation ends it.
func (d *Desk) frameTeaching(gtx layout.Context) {
	look := bench.Look{Dark: d.look.dark, Feet: d.look.feet, Scale: d.look.scale}
	leave := d.teach.bench.Frame(gtx, d.theme, &look)
	if d.look.feet != look.Feet {
		d.editor.stale = true
	}
	d.look.dark, d.look.feet, d.look.scale = look.Dark, look.Feet, look.Scale
	if leave || d.file.question.open {
		d.teach.on = false
		gtx.Execute(op.InvalidateCmd{})
	}
}
