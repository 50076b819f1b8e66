package investigation

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"downlead/dsp/sweep"
)

// Saved is what saving did.
type Saved struct {
	Path     string   // of the investigation
	Document Document // with the paths that its files have now
	Copied   []string // files that were copied or written beside the investigation
}

// Save writes the document at path, which it replaces as a whole or not at all;
// a name without an extension gets .toml. Measurements and definitions that lie
// outside the folder, are in no file, or are no longer as they were read, are
// first written into a folder beside it. It writes nothing that Open would
// refuse.
func Save(path string, d Document) (*Saved, error) {
	return save(path, d, nil)
}

func save(path string, d Document, unsaved *Unsaved) (*Saved, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if filepath.Ext(path) == "" {
		path += ".toml"
	}
	b := &bundle{folder: filepath.Dir(path), into: strings.TrimSuffix(filepath.Base(path), filepath.Ext(path)) + ".sweeps", saving: path}
	if d, err = b.gather(d); err != nil {
		return nil, fmt.Errorf("%s is not saved: %w", path, err)
	}
	r, err := b.record(d)
	if err != nil {
		return nil, fmt.Errorf("%s is not saved: %w", path, err)
	}
	r.unsaved = unsaved
	text, err := encode(r)
	if err == nil {
		_, err = decode(path, strings.NewReader(text))
	}
	if err != nil {
		return nil, fmt.Errorf("%s is not saved: %w", path, err)
	}
	if err := sweep.ReplaceFile(path, func(w io.Writer) error { _, err := io.WriteString(w, text); return err }); err != nil {
		return nil, err
	}
	return &Saved{path, d, b.copied}, nil
}

// Moved returns now with the paths that saving gave to the files of was, as far as
// now still has them.
func (s *Saved) Moved(was, now Document) Document {
	saved := s.Document
	for _, one := range []struct{ was, now, saved *Source }{{&was.Sweep, &now.Sweep, &saved.Sweep}, {&was.Baseline, &now.Baseline, &saved.Baseline},
		{&was.Standards.Open, &now.Standards.Open, &saved.Standards.Open}, {&was.Standards.Short, &now.Standards.Short, &saved.Standards.Short}, {&was.Standards.Load, &now.Standards.Load, &saved.Standards.Load}} {
		if *one.now == *one.was {
			*one.now = *one.saved
		}
	}
	if now.Standards.Kit == was.Standards.Kit {
		now.Standards.KitPath, now.Standards.KitSHA256 = saved.Standards.KitPath, saved.Standards.KitSHA256
	}
	now.Found = saved.Found
	return now
}

// bundle brings the files of an investigation into its folder.
type bundle struct {
	folder string
	into   string // the folder in it for what comes from elsewhere
	saving string // the investigation itself, which must not be overwritten by its own measurements
	copied []string
}

// gather returns d with every file in the folder.
func (b *bundle) gather(d Document) (Document, error) {
	s := &d.Standards
	for _, one := range []struct {
		name   string
		source *Source
	}{{"sweep", &d.Sweep}, {"earlier", &d.Baseline}, {"open", &s.Open}, {"short", &s.Short}, {"load", &s.Load}} {
		source := one.source
		write := func(w io.Writer) error {
			return sweep.WriteTouchstone(w, source.Sweep, sweep.WriteOptions{Version2: strings.EqualFold(filepath.Ext(source.Path), ".ts")})
		}
		extension := ".s1p"
		if source.Sweep != nil && source.Sweep.TwoPort != nil {
			extension = ".s2p"
		}
		if err := b.bring(one.name, extension, &source.Path, &source.SHA256, source.Sweep != nil, write); err != nil {
			return d, err
		}
	}
	err := b.bring("kit", ".toml", &s.KitPath, &s.KitSHA256, s.Kit != nil, func(io.Writer) error {
		return fmt.Errorf("%s is no longer what was read from it; open the definitions of the standards anew", s.KitPath)
	})
	return d, err
}

// within returns the path of a file relative to the folder, with slashes; ok is
// false where it is outside.
func (b *bundle) within(path string) (relative string, ok bool) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", false
	}
	relative, err = filepath.Rel(b.folder, abs)
	if err != nil || !isWithin(filepath.ToSlash(relative)) {
		return "", false
	}
	// What Open would not follow counts as outside.
	real, err := filepath.EvalSymlinks(abs)
	folder, failed := filepath.EvalSymlinks(b.folder)
	if err != nil || failed != nil {
		return filepath.ToSlash(relative), true // it is not there, which Open tells
	}
	inside, err := filepath.Rel(folder, real)
	return filepath.ToSlash(relative), err == nil && filepath.IsLocal(inside)
}

// bring makes sure that a file is in the folder as it was read. A file that was
// not read, because it is missing or changed, keeps its name.
func (b *bundle) bring(name, extension string, path, sum *string, read bool, write func(io.Writer) error) error {
	if *path == "" && !read {
		return nil
	}
	now := ""
	if *path != "" {
		_, inside := b.within(*path)
		if !read {
			if !inside {
				return fmt.Errorf("%s is missing or changed, and does not lie in this folder, so it cannot be taken along: open it anew, or leave it out", *path)
			}
			return nil
		}
		if now = sumOf(*path); inside && now != "" && (now == *sum || *sum == "") {
			*sum = now
			return nil
		}
	}
	var data []byte
	var err error
	base := name + extension
	if now != "" && now == *sum {
		data, err = os.ReadFile(*path)
		base = filepath.Base(*path)
	} else { // in no file as it was read: from memory
		var text bytes.Buffer
		err = write(&text)
		data = text.Bytes()
	}
	if err != nil {
		return err
	}
	*path, *sum, err = b.put(base, data)
	return err
}

// put writes data into the folder for what comes from elsewhere, under a name
// that no other content has.
func (b *bundle) put(base string, data []byte) (path, sum string, err error) {
	folder := filepath.Join(b.folder, b.into)
	if err := os.Mkdir(folder, 0o777); err != nil && !errors.Is(err, os.ErrExist) {
		return "", "", err
	}
	want := sumOfBytes(data)
	stem, extension := strings.TrimSuffix(base, filepath.Ext(base)), filepath.Ext(base)
	for n := 1; n < 1000; n++ {
		path := filepath.Join(folder, base)
		if n > 1 {
			path = filepath.Join(folder, fmt.Sprintf("%s-%d%s", stem, n, extension))
		}
		if sumOf(path) == want {
			return path, want, nil
		}
		if _, err := os.Lstat(path); err == nil {
			continue // another one's
		}
		err := sweep.ReplaceFile(path, func(w io.Writer) error { _, err := w.Write(data); return err })
		if err == nil {
			b.copied = append(b.copied, path)
		}
		return path, want, err
	}
	return "", "", errors.New("there are a thousand files of this name in " + folder)
}

// record returns what is written of a document whose files are in the folder.
func (b *bundle) record(d Document) (*record, error) {
	r := &record{Document: d, version: version}
	s := &r.Standards
	for _, path := range []*string{&r.Sweep.Path, &r.Baseline.Path, &s.Open.Path, &s.Short.Path, &s.Load.Path, &s.KitPath} {
		if *path != "" {
			relative, ok := b.within(*path)
			if !ok {
				return nil, fmt.Errorf("%s does not lie in this folder", *path)
			}
			if filepath.Join(b.folder, filepath.FromSlash(relative)) == b.saving {
				return nil, fmt.Errorf("%s is one of the measurements; choose another name", b.saving)
			}
			*path = relative
		}
	}
	relative, inside := "", false
	if d.LinePath != "" {
		relative, inside = b.within(d.LinePath)
	}
	r.LinePath = ""
	if inside {
		r.LinePath = relative
		if filepath.Join(b.folder, filepath.FromSlash(relative)) == b.saving {
			return nil, fmt.Errorf("%s is the line's file; choose another name", b.saving)
		}
	}
	if d.Line == nil {
		return r, nil // missing or changed: it keeps its name
	}
	if !inside || d.LineNew || d.LineSHA256 == "" || sumOf(d.LinePath) != d.LineSHA256 {
		r.LineNew = true
		return r, nil
	}
	var err error
	r.cablesSum, err = cablesSum(d.Line)
	return r, err
}
