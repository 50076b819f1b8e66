package main

import (
	"errors"
	"fmt"
	"strconv"

	"downlead/cables"
)

// lineChoice is how the user says what the line is: a line file, or one cable
// type, or no more than a velocity factor.
type lineChoice struct {
	file, cable    string
	velocityFactor float64
	lengthM        float64 // of a cable without a line file; 0: not known
}

func (c *lineChoice) options() []option {
	return []option{
		{"line", "FILE", "the line: sections, devices, load and limits", toText(&c.file)},
		{"cable", "ID", "without a line file: one cable type of the catalogue", toText(&c.cable)},
		{"velocity-factor", "VF", "without a line file: no more than this is known of the cable", func(s string) error {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil || !(v > 0.1 && v <= 1) {
				return fmt.Errorf("%q is not a velocity factor; write for example 0.88", s)
			}
			c.velocityFactor = v
			return nil
		}},
		{"length", "LENGTH", "how long that cable is, as far as known", toLength(&c.lengthM)},
	}
}

// read returns the line; where no length is known, reachM (a function of the
// velocity factor) stands for it and the line's Notes say so.
func (c *lineChoice) read(reachM func(velocityFactor float64) float64) (*cables.Line, error) {
	ways := 0
	for _, given := range []bool{c.file != "", c.cable != "", c.velocityFactor != 0} {
		if given {
			ways++
		}
	}
	switch {
	case ways == 0:
		return nil, errors.New("what line is it? give --line FILE, or --cable ID, or --velocity-factor VF")
	case ways > 1:
		return nil, errors.New("give one of --line, --cable and --velocity-factor")
	case c.file != "" && c.lengthM != 0:
		return nil, errors.New("--length goes with --cable or --velocity-factor; a line file has its own lengths")
	case c.file != "":
		return cables.ReadLine(c.file)
	}
	var cable cables.Type
	velocityFactor := c.velocityFactor
	if c.cable != "" {
		catalogue, err := cables.LoadCatalogue()
		if err != nil {
			return nil, err
		}
		var found bool
		if cable, found = catalogue.Find(c.cable); !found {
			return nil, fmt.Errorf("--cable: the catalogue has no %q; downlead cables WORDS searches it", c.cable)
		}
		velocityFactor = cable.VelocityFactor
	}
	lengthM, note := c.lengthM, ""
	if lengthM == 0 {
		lengthM = reachM(velocityFactor)
		note = fmt.Sprintf("the length of the cable is not known: it is taken as %.2f m, as far as is looked; give --length", lengthM)
	}
	line := cables.VelocityLine(velocityFactor, lengthM)
	if c.cable != "" {
		line = cables.SimpleLine(cable, lengthM)
	}
	if note != "" {
		line.Notes = append(line.Notes, note)
	}
	return line, nil
}
