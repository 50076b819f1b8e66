package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// mayWrite refuses a path that is taken, unless force.
func mayWrite(path string, force bool) error {
	_, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return err
	case force:
		return nil
	}
	return fmt.Errorf("%s is already there; add --force to replace it, or choose another name", path)
}
