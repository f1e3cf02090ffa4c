package files

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"

	"proveout/store"
)

// SyncDir makes the names in a folder survive a power cut. Windows has no such
// call: there a name is safe when its file is.
func SyncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	err = d.Sync()
	if err != nil && strings.Contains(err.Error(), "invalid argument") {
		err = nil // a file system without the call
	}
	return errors.Join(err, d.Close())
}

// WriteWhole writes a small file so that either the old or the new one is there
// after a power cut, never half of one.
func WriteWhole(path string, data []byte, mode os.FileMode) error {
	tmp, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return err
	}
	_, err = tmp.Write(data)
	err = errors.Join(err, tmp.Chmod(mode), tmp.Sync(), tmp.Close())
	if err == nil {
		err = os.Rename(tmp.Name(), path)
	}
	if err != nil {
		_ = os.Remove(tmp.Name())
		return err
	}
	return SyncDir(filepath.Dir(path))
}

// HashFile is the SHA-256 of a file in hex.
func HashFile(path string) (string, error) {
	file, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer file.Close()
	h := sha256.New()
	if _, err := io.Copy(h, file); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

func writeMeta(path string, u store.Upload) error {
	data, err := json.Marshal(u)
	if err != nil {
		return err
	}
	return WriteWhole(path, data, 0o644)
}

func readMeta(path string) (store.Upload, error) {
	var u store.Upload
	data, err := os.ReadFile(path)
	if err == nil {
		err = json.Unmarshal(data, &u)
	}
	if err != nil {
		return u, fmt.Errorf("the upload cannot be continued, send the file anew: %w", errors.Join(store.ErrNotFound, err))
	}
	return u, nil
}

// full says ErrFull where the system says that the disk is.
func full(err error) error {
	if errors.Is(err, syscall.ENOSPC) {
		return errors.Join(store.ErrFull, err)
	}
	return err
}

// NoRoom reports whether the disk is as good as full.
func (f *Folder) NoRoom() bool {
	free, ok := freeBytes(f.dir)
	return ok && free < 256<<10
}

// Sweep removes uploads that nobody continued for a while.
func (f *Folder) Sweep(olderThan time.Time) error {
	names, err := os.ReadDir(filepath.Join(f.dir, "incoming"))
	if err != nil {
		return err
	}
	for _, n := range names {
		info, err := n.Info()
		if err != nil || info.ModTime().After(olderThan) {
			continue
		}
		f.drop(strings.TrimSuffix(n.Name(), ".upload"))
	}
	return nil
}

// Each calls fn for every capture in the folder, in the order of their hashes.
func (f *Folder) Each(fn func(sha, path string) error) error {
	dirs, err := os.ReadDir(filepath.Join(f.dir, "captures"))
	if err != nil {
		return err
	}
	for _, d := range dirs {
		names, err := os.ReadDir(filepath.Join(f.dir, "captures", d.Name()))
		if err != nil {
			return err
		}
		for _, n := range names {
			if err := fn(n.Name(), filepath.Join(f.dir, "captures", d.Name(), n.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}
