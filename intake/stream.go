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
