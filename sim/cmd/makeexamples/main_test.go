package main

import (
	"bytes"
	"compress/gzip"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"proveout/book"
	"proveout/job"
	"proveout/strict"
)

const (
	examples = "../../../examples"
	seed     = 2026
)

// TestExamplesAreWhatTheSeedMakes regenerates the invented folders and compares
// them with the committed ones, byte for byte. Packed files are compared
// unpacked: another version of the packer may pack the same bytes otherwise.
func TestExamplesAreWhatTheSeedMakes(t *testing.T) {
	if runtime.GOARCH != "amd64" {
		t.Skip("floating point may be fused on this processor and change a last digit")
	}
	all, err := invented(seed)
	if err != nil {
		t.Fatal(err)
	}
	compare(t, all)
}

// TestRecordedExamplesAreWhatTheDataMake does the same for 04 and 05 where the
// shared data are at hand.
func TestRecordedExamplesAreWhatTheDataMake(t *testing.T) {
	shared := filepath.Join("..", "..", "..", "..", "shared")
	if _, err := os.Stat(filepath.Join(shared, "data")); err != nil {
		t.Skip("the shared recordings are not at hand (../shared): 04 and 05 are not made again")
	}
	all, err := recorded(shared)
	if err != nil {
		t.Fatal(err)
	}
	compare(t, all)
}

func compare(t *testing.T, all map[string]folder) {
	t.Helper()
	for name, f := range all {
		dir := filepath.Join(examples, name)
		found := 0
		err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			rel, _ := filepath.Rel(dir, path)
			want, ok := f[filepath.ToSlash(rel)]
			if !ok {
				t.Errorf("%s is committed but not made by the generator", path)
				return nil
			}
			found++
			got, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			if !bytes.Equal(unpack(t, path, got), unpack(t, path, want)) {
				t.Errorf("%s is not what the generator makes; run go run ./sim/cmd/makeexamples", path)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if found != len(f) {
			t.Errorf("%s: %d of %d files are committed", dir, found, len(f))
		}
	}
}

func unpack(t *testing.T, name string, data []byte) []byte {
	t.Helper()
	if !strings.HasSuffix(name, ".gz") {
		return data
	}
	r, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	out, err := io.ReadAll(r)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return out
}

// TestExamplesAreJobFolders loads each folder: no error in the job file, nothing
// of it left out against the shipped books, each named capture is there, each folder under 1.5 MB with a README.
func TestExamplesAreJobFolders(t *testing.T) {
	dirs, err := os.ReadDir(examples)
	if err != nil {
		t.Fatal(err)
	}
	books, err := book.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, d := range dirs {
		if !d.IsDir() {
			continue
		}
		n++
		dir := filepath.Join(examples, d.Name())
		f, problems, err := job.Load(os.DirFS(dir))
		if err != nil {
			t.Errorf("%s: %v", dir, err)
			continue
		}
		engine, more := f.VehicleEngine()
		for _, p := range strict.Errors(append(problems, more...)) {
			t.Errorf("%s: %v", dir, p)
		}
		in, err := book.Instantiate(engine, books...)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range f.Resolve(in).LeftOut() {
			t.Errorf("%s: line %d, %s: %s", dir, x.Line, x.Path, x.Why)
		}
		for _, c := range f.Captures {
			if _, err := os.Stat(filepath.Join(dir, filepath.FromSlash(c.File))); err != nil {
				t.Errorf("%s: %v", dir, err)
			}
		}
		if len(f.Captures) == 0 {
			t.Errorf("%s has no captures", dir)
		}
		if _, err := os.Stat(filepath.Join(dir, "README.md")); err != nil {
			t.Error(err)
		}
		size := int64(0)
		filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
			if err == nil && !d.IsDir() {
				if i, err := d.Info(); err == nil {
					size += i.Size()
				}
			}
			return nil
		})
		if size > 1_500_000 {
			t.Errorf("%s holds %d bytes; keep an example under 1.5 MB", dir, size)
		}
	}
	if n < 6 {
		t.Errorf("%d examples, want 6", n)
	}
}
