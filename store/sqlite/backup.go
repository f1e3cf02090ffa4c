package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"proveout/store/files"
)

// Backup writes a copy of the store into an empty folder. The database comes
// first: a capture that an entry of the copy cites was on disk before that entry,
// so it is among the files copied after.
func (s *Store) Backup(ctx context.Context, dir string, withKeys bool) error {
	names, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if len(names) > 0 {
		return fmt.Errorf("%s is not empty; name a new folder, a backup never writes over another", dir)
	}
	if err := os.MkdirAll(filepath.Join(dir, "captures"), 0o755); err != nil {
		return err
	}
	to := filepath.Join(dir, database)
	if err := s.snapshot(ctx, to); err != nil {
		return err
	}
	if err := syncFile(to); err != nil {
		return err
	}
	err = s.Each(func(sha, path string) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		return copyFile(path, filepath.Join(dir, "captures", sha[:2], sha), 0o444)
	})
	if err != nil {
		return err
	}
	keep := []string{"shop.pub"}
	if withKeys {
		keep = append(keep, "shop.key")
		if err := copyTree(filepath.Join(s.dir, "keys"), filepath.Join(dir, "keys")); err != nil {
			return err
		}
	}
	for _, n := range keep {
		err := copyFile(filepath.Join(s.dir, n), filepath.Join(dir, n), 0o600)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return errors.Join(files.SyncDir(dir), files.SyncDir(filepath.Dir(dir)))
}

// snapshot copies one moment of the database while others write on. It takes a
// connection of its own: those for reading may write nothing, not even a copy.
func (s *Store) snapshot(ctx context.Context, to string) error {
	db, err := sql.Open(s.driver.name, s.driver.dsn(filepath.Join(s.dir, database), copying))
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, "VACUUM INTO ?1", to)
	return s.explain(errors.Join(err, db.Close()))
}

func copyTree(from, to string) error {
	names, err := os.ReadDir(from)
	if errors.Is(err, fs.ErrNotExist) {
		return nil // a backup made without keys
	}
	if err != nil {
		return err
	}
	if err := os.MkdirAll(to, 0o700); err != nil {
		return err
	}
	for _, n := range names {
		if err := copyFile(filepath.Join(from, n.Name()), filepath.Join(to, n.Name()), 0o600); err != nil {
			return err
		}
	}
	return files.SyncDir(to)
}

func copyFile(from, to string, mode fs.FileMode) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return err
	}
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, mode)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Sync(), out.Close(), files.SyncDir(filepath.Dir(to)))
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
