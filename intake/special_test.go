//go:build unix

package intake

import (
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// TestPipesAreRefused: opening a pipe nobody writes to would wait for ever.
func TestPipesAreRefused(t *testing.T) {
	dir := jobFolder(t)
	pipe := filepath.Join(dir, "captures/pipe.csv")
	if err := syscall.Mkfifo(pipe, 0o644); err != nil {
		t.Skip("no pipes here: ", err)
	}
	if got := open(t, dir).Read("captures/pipe.csv", Options{}); got.Err == nil || !strings.Contains(got.Err.Error(), "is a pipe") {
		t.Errorf("in the folder: %v", got.Err)
	}
	if got := Files([]string{pipe}, nil, Options{}); got[0].Err == nil || !strings.Contains(got[0].Err.Error(), "is a pipe") {
		t.Errorf("by name: %v", got[0].Err)
	}
	if got := Files([]string{"/dev/zero"}, nil, Options{}); got[0].Err == nil || !strings.Contains(got[0].Err.Error(), "is a device") {
		t.Errorf("a device: %v", got[0].Err)
	}
}
