package sweep

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// keyword takes a [Keyword] line of version 2.
func (p *touchstone) keyword(text []byte, column int) error {
	end := bytes.IndexByte(text, ']')
	if end < 0 {
		return p.at(column, errors.New("keyword without its closing bracket: write ] behind it"))
	}
	name := strings.ToLower(strings.Join(strings.FieldsFunc(cleanText(text[column:end]), func(r rune) bool {
		return r == ' ' || r == '\t' || r == '_'
	}), " "))
	if p.part == inInformation {
		if name == "end information" {
			p.part = p.beforeNotes
		}
		return nil
	}
	argument, _ := nextField(text, end+1)
	if name == "version" {
		if v := string(argument.text); v != "2.0" && v != "2.1" {
			return p.at(argument.column, fmt.Errorf("version %q of Touchstone is not known: 2.0 and 2.1 are, and version 1 has no [Version]", cleanText(argument.text)))
		}
		if p.rows > 0 {
			return p.at(column, errors.New("[Version] after the first data line: move it to the top of the file"))
		}
		p.version = 2
		return nil
	}
	if p.version != 2 {
		return p.at(column, fmt.Errorf("keyword [%s] in a file without [Version]: write [Version] 2.0 on the first line", name))
	}
	if p.wantOhm > 0 {
		return p.at(column, fmt.Errorf("[Reference] lacks %d values: write one for each port", p.wantOhm))
	}
	if p.part != inHead && name != "noise data" && name != "end" && name != "begin information" {
		return p.at(column, fmt.Errorf("keyword [%s] after [Network Data]: move it above", name))
	}
	switch name {
	case "number of ports":
		n, err := p.count(argument, 1)
		if err != nil {
			return err
		}
		if n > 2 {
			return p.at(argument.column, fmt.Errorf("a file of %d ports: only one and two ports can be read; export the port that faces the line as .s1p", n))
		}
		if p.portsSaid {
			return p.at(column, errors.New("a second [Number of Ports]: leave one"))
		}
		if p.ports > 0 && p.ports != n {
			warn(&p.sweep.Warnings, "the file has %d port(s) %s and %d by [Number of Ports]; taken as %d", p.ports, p.portsFrom, n, n)
		}
		p.ports, p.portsFrom, p.portsSaid = n, "by [Number of Ports]", true
	case "two-port data order":
		p.dataOrder = string(argument.text)
		if p.dataOrder != "12_21" && p.dataOrder != "21_12" {
			return p.at(argument.column, fmt.Errorf("two-port data order %q: write 21_12 or 12_21", cleanText(argument.text)))
		}
	case "number of frequencies":
		n, err := p.count(argument, 1)
		if err != nil {
			return err
		}
		p.frequencies = n
	case "number of noise frequencies":
		_, err := p.count(argument, 0)
		return err
	case "reference":
		if !p.portsSaid {
			return p.at(column, errors.New("[Reference] before [Number of Ports]: swap the two"))
		}
		if len(p.referenceOhm) > 0 {
			return p.at(column, errors.New("a second [Reference]: leave one"))
		}
		p.wantOhm = p.ports
		return p.references(text, end+1)
	case "matrix format":
		p.matrix = strings.ToLower(string(argument.text))
		if p.matrix != "full" && p.matrix != "lower" && p.matrix != "upper" {
			return p.at(argument.column, fmt.Errorf("matrix format %q: write Full, Lower or Upper", cleanText(argument.text)))
		}
	case "mixed-mode order":
		return p.at(column, errors.New("mixed-mode parameters mean nothing for a single coaxial port: export single-ended S-parameters"))
	case "network data":
		if !p.portsSaid {
			return p.at(column, errors.New("[Network Data] without [Number of Ports]: write [Number of Ports] above it"))
		}
		if p.ports == 2 && p.dataOrder == "" {
			return p.at(column, errors.New("two ports without [Two-Port Data Order]: write [Two-Port Data Order] 21_12 (N11 N21 N12 N22) or 12_21 above [Network Data]"))
		}
		p.part = inNetwork
	case "noise data":
		if p.part != inNetwork {
			return p.at(column, errors.New("[Noise Data] before [Network Data]: move it below the network data"))
		}
		p.part = inNoise
	case "begin information":
		p.beforeNotes, p.part = p.part, inInformation
	case "end":
		p.part = afterEnd
	default:
		return p.at(column, fmt.Errorf("keyword [%s] is not known: correct or delete it", name))
	}
	return nil
}

// count reads a whole number of at least least.
func (p *touchstone) count(f field, least int) (int, error) {
	n, err := strconv.Atoi(string(f.text))
	if err != nil || n < least {
		return 0, p.at(f.column, fmt.Errorf("%q is not a whole number of at least %d: correct it", cleanText(f.text), least))
	}
	return n, nil
}

// references reads values of [Reference], which may go on on further lines.
func (p *touchstone) references(text []byte, offset int) error {
	for {
		var f field
		if f, offset = nextField(text, offset); len(f.text) == 0 {
			return nil
		}
		if p.wantOhm == 0 {
			return p.at(f.column, fmt.Errorf("[Reference] has more values than the %d ports: leave one for each port", p.ports))
		}
		ohm, err := p.ohm(f)
		if err != nil {
			return err
		}
		p.referenceOhm = append(p.referenceOhm, ohm)
		p.wantOhm--
	}
}
