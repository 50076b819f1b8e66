package desk

import (
	"fmt"
	"image"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
	"gioui.org/layout"
	"gioui.org/op/clip"
	"gioui.org/widget"

	"downlead/ui/theme"
)

// pick is what a file is chosen for.
type pick int

// The things that files are chosen for.
const (
	pickSweep pick = iota
	pickEarlier
	pickLine
	pickOpen
	pickShort
	pickLoad
	pickKit
	pickSaveLine
	pickSave
)

func (p pick) title() string {
	return [...]string{"Open an investigation, a sweep or a line", "Open an earlier sweep of the healthy line", "Open a line", "The raw sweep of the open", "The raw sweep of the short",
		"The raw sweep of the load", "The definitions of the standards", "Save the line", "Save the investigation"}[p]
}

// saves says whether a file is chosen to be written.
func (p pick) saves() bool { return p == pickSaveLine || p == pickSave }

// wants says which files are shown.
func (p pick) wants(name string) bool {
	extension := strings.ToLower(filepath.Ext(name))
	if p == pickLine || p == pickKit || p.saves() {
		return extension == ".toml"
	}
	return p == pickSweep && extension == ".toml" || slices.Contains([]string{".s1p", ".s2p", ".ts", ".csv", ".txt"}, extension)
}

// browser is where files are chosen: by folder, by typing, or from those last
// used.
type browser struct {
	open   bool
	pick   pick
	folder string
	path   widget.Editor
	list   widget.List
	rows   []browserRow
	err    error
	cancel widget.Clickable
	accept widget.Clickable
	chosen int
	focus  bool // the path gets the focus in the next frame
}

type browserRow struct {
	name, path string
	folder     bool
	recent     bool
	click      widget.Clickable
}

// mostRows bounds what is shown of a folder.
const mostRows = 5000

// browse opens the browser.
func (d *Desk) browse(p pick) {
	b := &d.browser
	b.open, b.pick, b.err, b.chosen, b.focus = true, p, nil, -1, true
	b.path.SingleLine, b.path.Submit, b.path.MaxLen = true, true, 4096
	if b.folder == "" {
		b.folder, _ = os.Getwd()
	}
	b.path.SetText("")
	if p == pickSaveLine {
		b.path.SetText(filepath.Join(b.folder, "line.toml"))
		if path := d.document().LinePath; path != "" {
			b.path.SetText(path)
		}
	}
	if p == pickSave {
		b.path.SetText(d.savePath())
	}
	b.look(d.recent)
}

// closeBrowser leaves without a choice.
func (d *Desk) closeBrowser() { d.browser.open, d.file.after = false, nil }

// look reads the folder.
func (b *browser) look(r *recent) {
	b.rows, b.err = nil, nil
	entries, err := os.ReadDir(b.folder)
	if err != nil {
		b.err = fmt.Errorf("reading the folder: %w", err)
	}
	if parent := filepath.Dir(b.folder); parent != b.folder {
		b.rows = append(b.rows, browserRow{name: "one folder up", path: parent, folder: true})
	}
	for _, folders := range []bool{true, false} {
		for _, e := range entries {
			name := e.Name()
			path := filepath.Join(b.folder, name)
			is := e.IsDir()
			if e.Type()&os.ModeSymlink != 0 {
				if info, err := os.Stat(path); err == nil {
					is = info.IsDir()
				}
			}
			if strings.HasPrefix(name, ".") || is != folders || !is && !b.pick.wants(name) || len(b.rows) > mostRows {
				continue
			}
			b.rows = append(b.rows, browserRow{name: name, path: path, folder: is})
		}
	}
	if b.pick.saves() {
		return
	}
	for _, path := range r.files() {
		if b.pick.wants(path) {
			b.rows = append(b.rows, browserRow{name: filepath.Base(path), path: path, recent: true})
		}
	}
}

func (d *Desk) updateBrowser(gtx layout.Context) {
	b := &d.browser
	if b.focus {
		gtx.Execute(key.FocusCmd{Tag: &b.path})
		b.focus = false
	}
	for i := range b.rows {
		if b.rows[i].click.Clicked(gtx) {
			d.choose(b.rows[i].path, b.rows[i].folder)
			return
		}
	}
	for b.cancel.Clicked(gtx) {
		d.closeBrowser()
	}
	typed := b.accept.Clicked(gtx)
	if _, submitted := theme.Submitted(gtx, &b.path); submitted {
		typed = true
	}
	if typed && b.open {
		d.chooseTyped()
	}
}

func (d *Desk) chooseTyped() {
	b := &d.browser
	path := strings.TrimSpace(b.path.Text())
	if path == "" {
		return
	}
	if home, err := os.UserHomeDir(); err == nil && strings.HasPrefix(path, "~") {
		path = home + path[1:]
	}
	if !filepath.IsAbs(path) {
		path = filepath.Join(b.folder, path)
	}
	info, err := os.Stat(path)
	switch {
	case err == nil:
		d.choose(path, info.IsDir())
	case b.pick.saves():
		d.choose(path, false)
	default:
		b.err = fmt.Errorf("%w; check the spelling, or choose from the list", err)
	}
}

func (d *Desk) choose(path string, folder bool) {
	b := &d.browser
	if folder {
		b.folder = path
		b.path.SetText("")
		b.look(d.recent)
		return
	}
	if b.pick == pickSave {
		if b.err = d.mayReplace(path); b.err != nil {
			return
		}
	}
	b.open = false
	b.folder = filepath.Dir(path)
	d.chosen(b.pick, path)
}

// blocker keeps pointer events from what lies under tag's area.
func blocker(gtx layout.Context, tag event.Tag) {
	for {
		if _, ok := gtx.Event(pointer.Filter{Target: tag, Kinds: pointer.Press | pointer.Scroll | pointer.Move, ScrollY: pointer.ScrollRange{Min: -1e6, Max: 1e6}}); !ok {
			break
		}
	}
	defer clip.Rect{Max: gtx.Constraints.Max}.Push(gtx.Ops).Pop()
	event.Op(gtx.Ops, tag)
}

func (d *Desk) layoutBrowser(gtx layout.Context) layout.Dimensions {
	b := &d.browser
	size := gtx.Constraints.Max
	d.veil(gtx, gtx.Dp(720), gtx.Dp(560), func(gtx layout.Context) layout.Dimensions {
		return layout.Flex{Axis: layout.Vertical}.Layout(gtx,
			layout.Rigid(d.theme.Text(theme.Label{Text: b.pick.title(), Font: theme.Strong, Size: d.theme.Title()})),
			layout.Rigid(layout.Spacer{Height: 8}.Layout),
			layout.Rigid(d.small(b.folder, d.theme.Quiet)),
			layout.Rigid(layout.Spacer{Height: 6}.Layout),
			layout.Rigid(func(gtx layout.Context) layout.Dimensions {
				return layout.Flex{Alignment: layout.Middle}.Layout(gtx,
					layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
						return d.theme.Editor(gtx, &b.path, theme.Entry{Hint: "type a name or a path, or choose below", Name: "path", Bad: b.err != nil})
					}),
					layout.Rigid(layout.Spacer{Width: 8}.Layout),
					layout.Rigid(func(gtx layout.Context) layout.Dimensions {
						text := "Open"
						if b.pick.saves() {
							text = "Save here"
						}
						return d.theme.Button(gtx, &b.accept, theme.Button{Text: text, Strong: true})
					}),
					layout.Rigid(layout.Spacer{Width: 6}.Layout),
					layout.Rigid(func(gtx layout.Context) layout.Dimensions {
						return d.theme.Button(gtx, &b.cancel, theme.Button{Text: "Cancel"})
					}))
			}),
			layout.Rigid(func(gtx layout.Context) layout.Dimensions {
				if b.err == nil {
					return layout.Dimensions{}
				}
				return layout.Inset{Top: 6}.Layout(gtx, d.words(b.err.Error(), d.theme.Out))
			}),
			layout.Rigid(layout.Spacer{Height: 8}.Layout),
			layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
				b.list.Axis = layout.Vertical
				gtx.Constraints.Min = image.Pt(gtx.Constraints.Max.X, gtx.Constraints.Max.Y)
				return d.theme.Scroll(gtx, &b.list, len(b.rows), func(gtx layout.Context, i int) layout.Dimensions {
					r := &b.rows[i]
					text, kind := r.name, ""
					switch {
					case r.folder && i == 0 && r.name == "one folder up":
						kind = r.path
					case r.folder:
						kind = "folder"
					case r.recent:
						kind = "used lately · " + filepath.Dir(r.path)
					}
					return d.theme.Row(gtx, &r.click, text, false, func(gtx layout.Context) layout.Dimensions {
						return layout.Flex{Alignment: layout.Baseline}.Layout(gtx,
							layout.Flexed(0.45, d.theme.Text(theme.Label{Text: text, Lines: 1})),
							layout.Flexed(0.55, d.theme.Text(theme.Label{Text: kind, Lines: 1, Size: d.theme.Small(), Color: d.theme.Quiet})))
					})
				})
			}))
	})
	return layout.Dimensions{Size: size}
}
