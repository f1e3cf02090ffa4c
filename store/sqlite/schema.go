package sqlite

import (
	"context"
	"database/sql"
	"fmt"

	"proveout/store"
)

// applicationID stands in the header of the database, so that another SQLite file
// is not taken for a store: "PROV".
const applicationID = 0x50524f56

// migrations bring a database from one version to the next. Version n is what the
// first n leave. None is ever changed once it was released: a new one is added.
//
// They run in one transaction under the writer lock, with the version in SQLite's
// own user_version. A migration library was looked at and left out: it brings five
// modules and a table of its own with clock times, for what is a loop here.
var migrations = []string{`
CREATE TABLE entries (
  ord    INTEGER PRIMARY KEY AUTOINCREMENT,
  id     TEXT NOT NULL UNIQUE,
  job    TEXT NOT NULL,
  device TEXT NOT NULL,
  seq    INTEGER NOT NULL,
  digest TEXT NOT NULL,
  line   BLOB NOT NULL,
  UNIQUE (job, device, seq)
);
CREATE INDEX entries_of_job ON entries (job, ord);
CREATE TRIGGER entries_stay_as_written BEFORE UPDATE ON entries BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER entries_stay BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT, 'an entry is never taken away'); END;
CREATE TABLE cited (
  sha TEXT NOT NULL,
  job TEXT NOT NULL,
  PRIMARY KEY (sha, job)
) WITHOUT ROWID;
CREATE TABLE receipts (
  key    TEXT NOT NULL PRIMARY KEY,
  device TEXT NOT NULL,
  n      INTEGER NOT NULL,
  body   TEXT NOT NULL,
  ord    INTEGER NOT NULL,
  job    TEXT NOT NULL,
  answer BLOB NOT NULL
) WITHOUT ROWID;
CREATE INDEX receipts_of_device ON receipts (device, n);
CREATE TABLE rows (
  job       TEXT NOT NULL PRIMARY KEY,
  open      INTEGER NOT NULL,
  dangerous INTEGER NOT NULL,
  practice  INTEGER NOT NULL,
  promised  INTEGER NOT NULL, -- milliseconds since 1970; none: 9e15, so that it sorts last
  ord       INTEGER NOT NULL,
  body      BLOB NOT NULL
);
CREATE INDEX rows_of_board ON rows (open, dangerous DESC, promised, ord DESC);
CREATE INDEX rows_by_order ON rows (ord DESC);
CREATE TABLE customers (
  customer TEXT NOT NULL PRIMARY KEY,
  erased   INTEGER NOT NULL
) WITHOUT ROWID;
CREATE TABLE personal (
  customer TEXT NOT NULL,
  name     TEXT NOT NULL,
  sealed   BLOB NOT NULL,
  PRIMARY KEY (customer, name)
);
CREATE TABLE docs (
  kind TEXT NOT NULL,
  id   TEXT NOT NULL,
  body BLOB NOT NULL,
  PRIMARY KEY (kind, id)
);
`, `
CREATE TABLE heads (
  job       TEXT NOT NULL,
  device    TEXT NOT NULL,
  seq       INTEGER NOT NULL,
  digest    TEXT NOT NULL,
  key       TEXT NOT NULL,
  signature TEXT NOT NULL,
  PRIMARY KEY (job, device)
) WITHOUT ROWID;
`}

// migrate brings the database to this program's version, or refuses a newer one.
func migrate(ctx context.Context, db *sql.DB, path string) error {
	have, app, err := version(ctx, db)
	if err != nil {
		return err
	}
	switch {
	case app != applicationID && (app != 0 || have != 0):
		return &store.Damaged{File: path, Why: fmt.Errorf("it is an SQLite database of another program (application id %#x)", app)}
	case have > len(migrations):
		return fmt.Errorf("%s has version %d, this program knows up to %d: %w", path, have, len(migrations), store.ErrNewer)
	case have == len(migrations):
		return nil
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	for i := have; i < len(migrations); i++ {
		if _, err := tx.ExecContext(ctx, migrations[i]); err != nil {
			return fmt.Errorf("to version %d: %w", i+1, err)
		}
	}
	if _, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d; PRAGMA application_id = %d", len(migrations), applicationID)); err != nil {
		return err
	}
	return tx.Commit()
}

func version(ctx context.Context, db *sql.DB) (version, app int, err error) {
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return 0, 0, err
	}
	err = db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&app)
	return version, app, err
}
