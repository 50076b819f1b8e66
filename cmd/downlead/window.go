//go:build windows || (cgo && (linux || freebsd || openbsd || darwin))

package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"gioui.org/app"
	"gioui.org/io/system"
	"gioui.org/op"
	dimension "gioui.org/unit"

	"downlead/ui/desk"
)

// hasWindow tells that this build can open one.
const hasWindow = true

// openWindow opens the workbench with the files of choice and does not return
// before the program ends: the systems want windows on the main thread.
func openWindow(ctx context.Context, choice windowChoice) error {
	window := &sizedWindow{}
	options := desk.Options{FullScreen: window.fullScreen, Notify: window.Invalidate, Program: programText(), CloseWindow: func() { window.Perform(system.ActionClose) }}
	if folder, err := os.UserConfigDir(); err == nil {
		options.RecentFile = filepath.Join(folder, "downlead", "recent.txt")
		options.StateFolder = filepath.Join(folder, "downlead", "unsaved")
	}
	d := desk.New(options)
	d.Open(desk.Files{Line: choice.line, Sweep: choice.sweep, Baseline: choice.baseline})
	window.Option(app.Title("Downlead"), app.Size(dimension.Dp(1440), dimension.Dp(900)), app.MinSize(dimension.Dp(960), dimension.Dp(600)))
	go func() {
		err := frames(ctx, window, d)
		d.Close()
		code := statusPasses
		if err != nil {
			fmt.Fprintln(os.Stderr, "downlead:", err)
			code = statusUnusable
		}
		os.Exit(code)
	}()
	go func() {
		<-ctx.Done() // interrupted
		window.Perform(system.ActionClose)
		window.Invalidate() // X sends what is asked of it with the next event only
	}()
	app.Main()
	return errors.New("the window system ended")
}

// sizedWindow remembers what it was before it took the whole screen, which the system need
// not do.
type sizedWindow struct {
	app.Window
	mode       app.WindowMode
	wide, high dimension.Dp
	beforeMode app.WindowMode
	whole      bool // the whole screen was taken
}

// seen takes note of how large the window is.
func (w *sizedWindow) seen(e app.FrameEvent) {
	if w.mode != app.Fullscreen && !w.whole {
		w.wide, w.high = e.Metric.PxToDp(e.Size.X), e.Metric.PxToDp(e.Size.Y)
	}
}

// fullScreen gives the window the whole screen, or takes it back. It does not wait for the
// system, which may ask for a frame meanwhile. Called from the loop of frames alone.
func (w *sizedWindow) fullScreen(on bool) {
	if on {
		if !w.whole {
			w.beforeMode = w.mode
		}
		w.whole = true
		go w.Option(app.Fullscreen.Option())
		return
	}
	w.whole = false
	before, size := w.beforeMode, app.Size(w.wide, w.high)
	go func() {
		w.Option(app.Windowed.Option(), size)
		if before == app.Maximized {
			w.Option(app.Maximized.Option())
		}
	}()
}

// frames is the loop of the window. What is not saved is asked about before it
// closes, but not where the program is interrupted: then it is kept.
func frames(ctx context.Context, window *sizedWindow, d *desk.Desk) error {
	var ops op.Ops
	for {
		switch e := window.Event().(type) {
		case app.ConfigEvent:
			window.mode = e.Config.Mode
		case app.FrameEvent:
			window.seen(e)
			gtx := app.NewContext(&ops, e)
			d.Frame(gtx)
			e.Frame(gtx.Ops)
		case *app.ClosingEvent:
			if ctx.Err() == nil && !d.MayClose() {
				e.Abort()
			}
		case app.DestroyEvent:
			return e.Err
		}
	}
}
