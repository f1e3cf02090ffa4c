//go:build unix && !solaris && !aix

package sqlite

import (
	"errors"
	"os"
	"syscall"

	"proveout/store"
)

// lockFile takes the writer's lock. The system lets go of it when the process
// ends, however it ends.
func lockFile(path string) (*os.File, error) {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		file.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, store.ErrInUse
		}
		return nil, err
	}
	return file, nil
}
