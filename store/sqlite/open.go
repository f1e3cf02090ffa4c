package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"proveout/store"
	"proveout/store/files"
)

// Options say how a store is opened.
type Options struct {
	// ReadOnly opens without the writer's lock, beside a program that writes.
	ReadOnly bool
	// Create makes a store where there is none; otherwise that is an error.
	Create  bool
	Files   files.Options
	Reserve int64 // bytes kept back for stop and interrupted; 0: 8 MiB

	driver *driver // nil: modernc
}

// Store is a store in a folder.
type Store struct {
	*files.Folder
	dir    string
	opts   Options
	driver driver
	write  *sql.DB // one connection
	read   *sql.DB
	lock   *os.File

	mu      sync.Mutex // one writer at a time
	dead    error      // set when a write ended in a way that leaves the disk in doubt
	reserve reserve
}

const database = "proveout.db"

// Open opens the store in a folder.
func Open(dir string, o Options) (_ *Store, err error) {
	if o.Reserve <= 0 {
		o.Reserve = 8 << 20
	}
	s := &Store{dir: dir, opts: o, driver: modernc, reserve: reserve{path: filepath.Join(dir, "reserve"), size: o.Reserve}}
	if o.driver != nil {
		s.driver = *o.driver
	}
	path := filepath.Join(dir, database)
	if err := s.prepare(path); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			s.Close()
		}
	}()
	if !o.ReadOnly {
		if s.lock, err = lockFile(filepath.Join(dir, "lock")); err != nil {
			return nil, fmt.Errorf("%s: %w", dir, err)
		}
	}
	o.Files.ReadOnly = o.ReadOnly
	if s.Folder, err = files.Open(dir, o.Files); err != nil {
		return nil, err
	}
	if err := s.connect(path); err != nil {
		return nil, err
	}
	if !o.ReadOnly {
		if err := s.Sweep(time.Now().Add(-7 * 24 * time.Hour)); err != nil {
			return nil, err
		}
		// A disk too full for the reserve still opens: the work must go on.
		_ = s.reserve.keep()
	}
	return s, nil
}

// prepare makes the folder, or says that there is no store in it.
func (s *Store) prepare(path string) error {
	_, err := os.Stat(path)
	switch {
	case err == nil:
		return nil
	case !errors.Is(err, fs.ErrNotExist):
		return err
	case !s.opts.Create || s.opts.ReadOnly:
		return fmt.Errorf("%s: there is no store here; name the folder that \"serve\" was started with: %w", s.dir, store.ErrNotFound)
	}
	if err := os.MkdirAll(s.dir, 0o755); err != nil {
		return err
	}
	return files.SyncDir(filepath.Dir(s.dir))
}

// connect opens one connection to write and some to read.
func (s *Store) connect(path string) (err error) {
	ctx := context.Background()
	if !s.opts.ReadOnly {
		if s.write, err = sql.Open(s.driver.name, s.driver.dsn(path, writing)); err != nil {
			return err
		}
		s.write.SetMaxOpenConns(1)
		s.write.SetMaxIdleConns(1)
		if err := migrate(ctx, s.write, path); err != nil {
			return s.explain(err)
		}
		if err := files.SyncDir(s.dir); err != nil {
			return err
		}
	}
	if s.read, err = sql.Open(s.driver.name, s.driver.dsn(path, reading)); err != nil {
		return err
	}
	s.read.SetMaxOpenConns(4)
	s.read.SetMaxIdleConns(4)
	have, app, err := version(ctx, s.read)
	switch {
	case err != nil:
		return s.explain(err)
	case app != applicationID:
		return &store.Damaged{File: path, Why: errors.New("it is no store of this program")}
	case have > len(migrations):
		return fmt.Errorf("%s has version %d, this program knows up to %d: %w", path, have, len(migrations), store.ErrNewer)
	case have < len(migrations):
		return fmt.Errorf("%s has the old version %d; open it once for writing (serve) to bring it to %d", path, have, len(migrations))
	}
	return nil
}

// Path is the folder of the store.
func (s *Store) Path() string { return s.dir }

// Close lets go of the store.
func (s *Store) Close() error {
	var errs []error
	for _, db := range []*sql.DB{s.read, s.write} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	if s.lock != nil {
		errs = append(errs, s.lock.Close())
	}
	return errors.Join(errs...)
}

// Result codes of SQLite (sqlite.org/rescode.html).
const (
	codeIOErr   = 10
	codeCorrupt = 11
	codeFull    = 13
	codeNotADB  = 26
	ioErrShm    = 10 | 19<<8 // SQLITE_IOERR_SHMSIZE: no room for the index of the log
)

// explain gives errors of the engine the names of package store.
func (s *Store) explain(err error) error {
	code, ok := s.driver.code(err)
	if !ok {
		return err
	}
	switch {
	case code&0xff == codeFull, code == ioErrShm, code&0xff == codeIOErr && s.Folder != nil && s.NoRoom():
		// An engine that only knows that writing failed is asked about the disk.
		return errors.Join(store.ErrFull, err)
	case code&0xff == codeCorrupt, code&0xff == codeNotADB:
		return &store.Damaged{File: filepath.Join(s.dir, database), Why: err}
	}
	return err
}
