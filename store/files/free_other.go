//go:build !unix || solaris || aix

package files

// freeBytes is not known here: a full disk shows at the write.
func freeBytes(string) (int64, bool) { return 0, false }
