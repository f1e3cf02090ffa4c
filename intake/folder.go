package intake

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"
	"syscall"
)

// Folder is a job folder, open for reading. No name given to it can lead out
// of it: not by "..", not by an absolute path, not by a symbolic link.
type Folder struct {
	dir  string
	root *os.Root
}

// OpenFolder opens a job folder.
func OpenFolder(dir string) (*Folder, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		var pe *fs.PathError
		info, _ := os.Stat(dir)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return nil, fmt.Errorf("%s: there is no such folder; check the path", dir)
		case info != nil && !info.IsDir():
			return nil, fmt.Errorf("%s is a file, not a folder; name the folder it lies in", dir)
		case errors.As(err, &pe):
			return nil, fmt.Errorf("%s: the folder cannot be opened: %w", dir, pe.Err)
		}
		return nil, fmt.Errorf("%s: the folder cannot be opened: %w", dir, err)
	}
	return &Folder{dir, root}, nil
}

// Close lets go of the folder.
func (f *Folder) Close() error { return f.root.Close() }

// Dir is the path the folder was opened with.
func (f *Folder) Dir() string { return f.dir }

// Has reports whether a regular file of that name lies in the folder.
func (f *Folder) Has(name string) bool {
	if checkName(name) != nil {
		return false
	}
	info, err := f.root.Stat(name)
	return err == nil && info.Mode().IsRegular()
}

// Bytes reads a whole small file, such as the job file. A file longer than max
// is an error, never cut.
func (f *Folder) Bytes(name string, max int64) ([]byte, error) {
	file, total, err := f.open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	if total > max {
		return nil, fmt.Errorf("%s has %s, at most %s can be read: %w", name, size(total), size(max), ErrTooLarge)
	}
	b, err := io.ReadAll(&limitReader{r: file, max: max, what: name})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return b, nil
}

// Read reads one file of the folder; name uses "/".
func (f *Folder) Read(name string, opts Options) File {
	file, total, err := f.open(name)
	if err != nil {
		return File{Name: name, Err: err}
	}
	defer file.Close()
	if lim := opts.Limits.withDefaults(); total > lim.File {
		return File{Name: name, Size: total, Err: tooLong(name, total, lim)}
	}
	return read(name, file, total, opts)
}

// ReadAll reads every file a pattern matches, in the order of their names. A
// pattern that matches nothing gives one File with an error.
func (f *Folder) ReadAll(pattern string, opts Options) []File {
	names, err := f.Glob(pattern)
	if err != nil {
		return []File{{Name: pattern, Err: err}}
	}
	lim := opts.Limits.withDefaults()
	if len(names) > lim.Files {
		return []File{{Name: pattern, Err: fmt.Errorf("%s matches %d files, at most %d are read at once: %w; use a narrower pattern", pattern, len(names), lim.Files, ErrTooLarge)}}
	}
	var out []File
	var sum int64
	for _, n := range names {
		info, err := f.root.Stat(n)
		if err == nil {
			sum += info.Size()
		}
		if sum > lim.Total {
			out = append(out, File{Name: n, Err: fmt.Errorf("%s: the files read before it and this one have more than %s: %w; read fewer at once", n, size(lim.Total), ErrTooLarge)})
			continue
		}
		out = append(out, f.Read(n, opts))
	}
	return out
}

// Glob lists the files a pattern matches, sorted. A plain name is returned as
// it is when the file can be opened; the error says what is wrong otherwise.
func (f *Folder) Glob(pattern string) ([]string, error) {
	if err := checkName(pattern); err != nil {
		return nil, err
	}
	if !hasMeta(pattern) || f.Has(pattern) {
		file, _, err := f.open(pattern)
		if err != nil {
			return nil, err
		}
		file.Close()
		return []string{path.Clean(pattern)}, nil
	}
	names, err := fs.Glob(f.root.FS(), path.Clean(pattern))
	if err != nil {
		return nil, fmt.Errorf("%s: not a pattern (%w); * stands for any letters, ? for one, [ab] for a or b", pattern, err)
	}
	names = slices.DeleteFunc(names, func(n string) bool {
		info, err := f.root.Stat(n)
		return err == nil && info.IsDir()
	})
	if len(names) == 0 {
		return nil, fmt.Errorf("%s matches no file in %s; check the name", pattern, f.dir)
	}
	slices.Sort(names)
	return names, nil
}

// open opens a regular file of the folder for reading.
func (f *Folder) open(name string) (*os.File, int64, error) {
	if err := checkName(name); err != nil {
		return nil, 0, err
	}
	info, err := f.root.Stat(name) // before opening: opening a pipe would wait for ever
	if err != nil {
		return nil, 0, explain(name, err)
	}
	if err := regular(name, info); err != nil {
		return nil, 0, err
	}
	file, err := f.root.OpenFile(name, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, 0, explain(name, err)
	}
	return again(name, file)
}

// again checks what was truly opened, in case it changed in between.
func again(name string, file *os.File) (*os.File, int64, error) {
	info, err := file.Stat()
	if err == nil {
		err = regular(name, info)
	}
	if err != nil {
		file.Close()
		return nil, 0, err
	}
	return file, info.Size(), nil
}

func regular(name string, info fs.FileInfo) error {
	switch m := info.Mode(); {
	case m.IsRegular():
		return nil
	case m.IsDir():
		return fmt.Errorf("%s is a folder; name the files in it, for example %s/*.csv", name, strings.TrimSuffix(name, "/"))
	case m&fs.ModeDevice != 0:
		return fmt.Errorf("%s is a device, not a file; record it to a file first", name)
	case m&fs.ModeNamedPipe != 0:
		return fmt.Errorf("%s is a pipe; use - and standard input for a stream", name)
	}
	return fmt.Errorf("%s is not an ordinary file", name)
}

func explain(name string, err error) error {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s: there is no such file; check the name", name)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%s may not be read by this user; change its permissions", name)
	case strings.Contains(err.Error(), "escapes"):
		return fmt.Errorf("%s leads out of the job folder (a symbolic link?); copy the file into the folder", name)
	}
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return fmt.Errorf("%s cannot be opened: %w", name, err)
}

// checkName refuses names that are not plain paths inside the folder.
func checkName(name string) error {
	switch {
	case name == "":
		return errors.New("a file name is empty; name a file in the job folder")
	case strings.ContainsRune(name, 0):
		return fmt.Errorf("%q holds a zero byte; it is no file name", name)
	case strings.Contains(name, `\`):
		return fmt.Errorf("%s: write / between folder and file, not \\", name)
	case path.IsAbs(name) || len(name) > 1 && name[1] == ':':
		return fmt.Errorf("%s: a path from the root of the machine; captures lie in the job folder, name them from there", name)
	}
	for _, part := range strings.Split(name, "/") {
		if part == ".." {
			return fmt.Errorf("%s: .. leads out of the job folder; copy the file into the folder", name)
		}
	}
	return nil
}

func hasMeta(s string) bool { return strings.ContainsAny(s, "*?[") }

func tooLong(name string, total int64, lim Limits) error {
	return fmt.Errorf("%s has %s, at most %s can be read: %w; cut it into shorter captures", name, size(total), size(lim.File), ErrTooLarge)
}
