package intake

import "io"

// Read reads one file that somebody else has opened and named: a capture out of
// a store. size is its length in bytes, 0 when not known.
func Read(name string, src io.Reader, size int64, opts Options) File {
	if lim := opts.Limits.withDefaults(); size > lim.File {
		return File{Name: name, Size: size, Err: tooLong(name, size, lim)}
	}
	return read(name, src, size, opts)
}

// Open opens a file of the folder for reading as it is, without decoding it.
func (f *Folder) Open(name string) (io.ReadCloser, error) {
	file, _, err := f.open(name)
	return file, err
}

// Size is how many bytes a file of the folder has.
func (f *Folder) Size(name string) (int64, error) {
	file, size, err := f.open(name)
	if err != nil {
		return 0, err
	}
	return size, file.Close()
}
