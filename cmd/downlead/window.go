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
	window := new(app.Window)
	options := desk.Options{FullScreen: fullScreen(window), Notify: window.Invalidate, Program: programText(), CloseWindow: func() { window.Perform(system.ActionClose) }}
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

// fullScreen gives a window the whole screen, or takes it back. It does not wait for the
// system, which may ask for a frame meanwhile.
func fullScreen(window *app.Window) func(on bool) {
	return func(on bool) {
		mode := app.Windowed
		if on {
			mode = app.Fullscreen
		}
		go window.Option(mode.Option())
	}
}

// frames is the loop of the window. What is not saved is asked about before it
// closes, but not where the program is interrupted: then it is kept.
func frames(ctx context.Context, window *app.Window, d *desk.Desk) error {
	var ops op.Ops
	for {
		switch e := window.Event().(type) {
		case app.FrameEvent:
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
