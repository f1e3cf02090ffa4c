package sqlite

import (
	"database/sql"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"proveout/job"
	"proveout/store"
	"proveout/store/storetest"
)

// TestPlaceholders: one of the two engines binds $1 $2 by order of appearance, and
// ? without a number invites the same. Every placeholder is ?1, ?2, ...
func TestPlaceholders(t *testing.T) {
	paths, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	bad := regexp.MustCompile(`\$\d|\?($|[^0-9])`)
	seen := 0
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			lit, ok := n.(*ast.BasicLit)
			if !ok || lit.Kind != token.STRING {
				return true
			}
			text, err := strconv.Unquote(lit.Value)
			if err != nil || !regexp.MustCompile(`^(SELECT|INSERT|UPDATE|DELETE|VACUUM|PRAGMA|\s*CREATE)`).MatchString(text) {
				return true
			}
			seen++
			if m := bad.FindString(text); m != "" {
				t.Errorf("%s: placeholder %q in %.60q: write ?1, ?2", path, m, text)
			}
			return true
		})
	}
	if seen < 20 {
		t.Errorf("only %d statements looked at: the test does not see the SQL", seen)
	}
}

// The trap the rule is for: bound out of order, both engines must answer alike.
func TestPlaceholdersOutOfOrder(t *testing.T) {
	for _, d := range engines {
		s := openWith(t, d, t.TempDir())
		var a, b, c string
		if err := s.read.QueryRow("SELECT ?2, ?1, ?2", "one", "two").Scan(&a, &b, &c); err != nil {
			t.Fatal(err)
		}
		if a != "two" || b != "one" || c != "two" {
			t.Errorf("%s bound %s %s %s", d.name, a, b, c)
		}
		s.Close()
	}
}

func TestOneWriterAtATime(t *testing.T) {
	dir := t.TempDir()
	s := openWith(t, modernc, dir)
	if _, err := Open(dir, Options{}); !errors.Is(err, store.ErrInUse) {
		t.Errorf("a second writer: %v", err)
	}
	r, err := Open(dir, Options{ReadOnly: true})
	if err != nil {
		t.Fatalf("a reader beside the writer: %v", err)
	}
	if _, err := r.Append(t.Context(), store.Batch{}); !errors.Is(err, store.ErrReadOnly) {
		t.Errorf("a reader that writes: %v", err)
	}
	if err := errors.Join(r.Close(), s.Close()); err != nil {
		t.Fatal(err)
	}
}

func TestWhatIsNoStoreIsRefused(t *testing.T) {
	if _, err := Open(t.TempDir(), Options{}); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("an empty folder: %v", err)
	}
	dir := t.TempDir()
	s := openWith(t, modernc, dir)
	if _, err := s.write.Exec("PRAGMA user_version = 99"); err != nil {
		t.Fatal(err)
	}
	s.Close()
	for _, ro := range []bool{false, true} {
		if _, err := Open(dir, Options{ReadOnly: ro}); !errors.Is(err, store.ErrNewer) {
			t.Errorf("a store of a newer program, read only %v: %v", ro, err)
		}
	}
	dir = t.TempDir()
	s = openWith(t, modernc, dir)
	if _, err := s.write.Exec("PRAGMA application_id = 7"); err != nil {
		t.Fatal(err)
	}
	s.Close()
	if _, err := Open(dir, Options{}); err == nil {
		t.Error("another program's database was opened")
	}
}

// The database itself refuses to change or drop an entry, whoever asks.
func TestEntriesCannotBeChanged(t *testing.T) {
	s := openWith(t, modernc, t.TempDir())
	defer s.Close()
	if _, err := s.write.Exec("INSERT INTO entries (id, job, device, seq, digest, line) VALUES ('i', 'j', 'd', 1, 'x', 'y')"); err != nil {
		t.Fatal(err)
	}
	for _, q := range []string{"UPDATE entries SET line = 'z'", "DELETE FROM entries"} {
		if _, err := s.write.Exec(q); err == nil {
			t.Errorf("%s was carried out", q)
		}
	}
}

// What an older version of the schema holds comes through a migration. There is
// one version so far: the test holds that it is reached from nothing in one step
// and from itself in none.
func TestMigrationsLeaveTheirVersion(t *testing.T) {
	dir := t.TempDir()
	for range 2 {
		s := openWith(t, modernc, dir)
		v, app, err := version(t.Context(), s.read)
		if err != nil || v != len(migrations) || app != applicationID {
			t.Errorf("version %d of application %#x, %v", v, app, err)
		}
		s.Close()
	}
	if _, err := os.Stat(filepath.Join(dir, database)); err != nil {
		t.Error(err)
	}
}

// A store of version 1 comes through to today's with what it held.
func TestFromVersionOne(t *testing.T) {
	dir := t.TempDir()
	db, err := sql.Open(modernc.name, modernc.dsn(filepath.Join(dir, database), writing))
	if err != nil {
		t.Fatal(err)
	}
	c := &storetest.Chain{Job: "j1", Device: "d1"}
	line := c.Next(t, job.NoteType, job.Note{Text: "written by an old program"})
	for _, q := range []string{migrations[0], "PRAGMA user_version = 1", fmt.Sprintf("PRAGMA application_id = %d", applicationID)} {
		if _, err := db.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := db.Exec("INSERT INTO entries (id, job, device, seq, digest, line) VALUES ('j1-d1-1', 'j1', 'd1', 1, ?1, ?2)", job.Digest(line), line); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir, Options{ReadOnly: true}); err == nil {
		t.Error("a reader opened an old version")
	}
	s := openWith(t, modernc, dir)
	defer s.Close()
	mustAppend(t, s, c.Note(t, "and by this one"))
	lines, err := s.Entries(t.Context(), "j1", 0)
	if err != nil || len(lines) != 2 {
		t.Errorf("%d entries, %v", len(lines), err)
	}
}
