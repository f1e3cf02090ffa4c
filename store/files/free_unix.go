//go:build unix && !solaris && !aix

package files

import "syscall"

// freeBytes is what an ordinary user may still write to the disk of dir.
func freeBytes(dir string) (int64, bool) {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return 0, false
	}
	return int64(uint64(s.Bavail) * uint64(s.Bsize)), true
}
