package sqlite

import (
	"crypto/rand"
	"errors"
	"io"
	"os"
	"path/filepath"

	"proveout/store/files"
)

// reserve is a file that takes up room, so that a full disk still has some for
// what must be written: a stop, an interruption, a danger.
type reserve struct {
	path string
	size int64
}

// keep makes the file when it is not there. Its bytes are random: a file system
// that packs zeros would hold nothing back.
func (r reserve) keep() error {
	if info, err := os.Stat(r.path); err == nil && info.Size() >= r.size {
		return nil
	}
	file, err := os.OpenFile(r.path, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = io.CopyN(file, rand.Reader, r.size)
	if err = errors.Join(err, file.Sync(), file.Close()); err != nil {
		return errors.Join(err, os.Remove(r.path)) // half a reserve only takes room
	}
	return files.SyncDir(filepath.Dir(r.path))
}

// release gives the room back; true when there was some.
func (r reserve) release() bool { return os.Remove(r.path) == nil }
