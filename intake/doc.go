// Package intake opens files: job folders, single files and standard input. It
// hands their bytes to trace and returns recordings, or the raw bytes of
// diagnostic messages, each with the SHA-256 of the file as it lies on disk.
//
// It is the rim of the program, and distrustful. A job folder is opened through
// os.Root: no path leads out of it, neither by ".." nor by a symbolic link;
// device files, sockets and pipes are refused; packed files may not unpack to
// more than a limit, nor by more than a ratio. Nothing is ever written, but for the
// samples of a recording beyond memory, in files without a name.
//
// A file that cannot be read does not stop the others: its Err says what was
// wrong, where, and what to do.
package intake
