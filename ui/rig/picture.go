//go:build cgo || windows

package rig

import (
	"image"
	"os"

	"gioui.org/gpu/headless"
)

// Picture is what the last frame shows. Where nothing can be drawn the test is skipped, but
// fails where everything is checked.
func (w *Window) Picture() *image.RGBA {
	w.T.Helper()
	drawn, err := headless.NewWindow(w.Size.X, w.Size.Y)
	if err != nil {
		if os.Getenv("CI") != "" {
			w.T.Fatalf("no headless drawing: %v", err)
		}
		w.T.Skipf("no headless drawing here (set EGL_PLATFORM=surfaceless): %v", err)
	}
	defer drawn.Release()
	img := image.NewRGBA(image.Rectangle{Max: w.Size})
	if err := drawn.Frame(&w.Ops); err != nil {
		w.T.Fatal(err)
	}
	if err := drawn.Screenshot(img); err != nil {
		w.T.Fatal(err)
	}
	return img
}
