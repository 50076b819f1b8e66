package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// mayWrite refuses a path that is taken, unless force, and even then the path of
// one of the inputs.
func mayWrite(path string, force bool, inputs ...string) error {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return err
	}
	for _, input := range inputs {
		if other, err := os.Stat(input); err == nil && os.SameFile(info, other) {
			return fmt.Errorf("%s is one of the measurements; choose another name for the result", path)
		}
	}
	if force {
		return nil
	}
	return fmt.Errorf("%s is already there; add --force to replace it, or choose another name", path)
}
