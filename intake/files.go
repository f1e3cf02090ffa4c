package intake

import (
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"syscall"
)

// Files reads files named by a person on the command line: paths, patterns
// (also where the shell did not expand them), or "-" for stdin, once. Each
// gives one or more results in the order named.
func Files(names []string, stdin io.Reader, opts Options) []File {
	return slices.Collect(Each(names, stdin, opts))
}

// Each is Files one after the other: only one needs to be held at a time.
func Each(names []string, stdin io.Reader, opts Options) iter.Seq[File] {
	lim := opts.Limits.withDefaults()
	return func(yield func(File) bool) {
		usedStdin := false
		var sum int64
		for _, name := range names {
			paths := []string{name}
			var err error
			switch {
			case name == "-" && (usedStdin || stdin == nil):
				err = fmt.Errorf("standard input can be read once; give - once")
			case name != "-":
				paths, err = expand(name, lim)
			}
			if err != nil {
				if !yield(File{Name: name, Err: err}) {
					return
				}
				continue
			}
			for _, p := range paths {
				var f File
				if name == "-" {
					usedStdin = true
					f = read("standard input", stdin, 0, opts)
				} else {
					f = single(p, lim, &sum, opts)
				}
				if !yield(f) {
					return
				}
			}
		}
	}
}

// expand gives the files a name or pattern stands for.
func expand(name string, lim Limits) ([]string, error) {
	if _, err := os.Lstat(name); err == nil || !hasMeta(name) {
		return []string{name}, nil
	}
	paths, err := filepath.Glob(name)
	if err != nil {
		return nil, fmt.Errorf("%s: not a pattern (%w); * stands for any letters, ? for one, [ab] for a or b", name, err)
	}
	paths = slices.DeleteFunc(paths, func(p string) bool {
		info, err := os.Stat(p)
		return err == nil && info.IsDir()
	})
	switch {
	case len(paths) == 0:
		return nil, fmt.Errorf("%s matches no file; check the name", name)
	case len(paths) > lim.Files:
		return nil, fmt.Errorf("%s matches %d files, at most %d are read at once: %w; use a narrower pattern", name, len(paths), lim.Files, ErrTooLarge)
	}
	slices.Sort(paths)
	return paths, nil
}

func single(name string, lim Limits, sum *int64, opts Options) File {
	info, err := os.Stat(name)
	if err != nil {
		return File{Name: name, Err: explain(name, err)}
	}
	if err := regular(name, info); err != nil {
		return File{Name: name, Err: err}
	}
	file, err := os.OpenFile(name, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return File{Name: name, Err: explain(name, err)}
	}
	file, total, err := again(name, file)
	if err != nil {
		return File{Name: name, Err: err}
	}
	defer file.Close()
	if total > lim.File {
		return File{Name: name, Size: total, Err: tooLong(name, total, lim)}
	}
	if *sum += total; *sum > lim.Total {
		return File{Name: name, Size: total, Err: fmt.Errorf("%s: the files read before it and this one have more than %s: %w; read fewer at once", name, size(lim.Total), ErrTooLarge)}
	}
	return read(name, file, total, opts)
}
