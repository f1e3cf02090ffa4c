package sqlite

import (
	"fmt"
	"syscall"
)

func mountSmall(dir string, mb int) (func() error, error) {
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%dm", mb)); err != nil {
		return nil, err
	}
	return func() error { return syscall.Unmount(dir, 0) }, nil
}
