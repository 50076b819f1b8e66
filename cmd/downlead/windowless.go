//go:build !(windows || (cgo && (linux || freebsd || openbsd || darwin)))

package main

import (
	"context"
	"errors"
)

// hasWindow tells that this build cannot open one.
const hasWindow = false

// openWindow says why there is no window.
func openWindow(context.Context, windowChoice) error {
	return errors.New("this build has no window: it was made without cgo; the verbs work (downlead help)")
}
