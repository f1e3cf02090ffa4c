package sqlite

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"

	"proveout/store"
)

// lockFile takes the writer's lock. The system lets go of it when the process
// ends, however it ends.
func lockFile(path string) (*os.File, error) {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, err
	}
	const flags = windows.LOCKFILE_EXCLUSIVE_LOCK | windows.LOCKFILE_FAIL_IMMEDIATELY
	if err := windows.LockFileEx(windows.Handle(file.Fd()), flags, 0, 1, 0, &windows.Overlapped{}); err != nil {
		file.Close()
		if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
			return nil, store.ErrInUse
		}
		return nil, err
	}
	return file, nil
}
