package shop

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"proveout/job"
	"proveout/store/sqlite"
)

// Somebody with the database open in another program changes an entry and hashes
// the chain anew, signs it with a key of his own, or takes rows away: each is
// found.
func TestVerifyStoreFindsWhatWasDone(t *testing.T) {
	forger, err := LoadShopKey(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		harm func(t *testing.T, db *sql.DB, id string)
		says string
	}{
		"nothing":                 {func(*testing.T, *sql.DB, string) {}, ""},
		"hashed anew":             {func(t *testing.T, db *sql.DB, id string) { rehash(t, db, id, nil) }, "hashed anew"},
		"hashed anew and signed":  {func(t *testing.T, db *sql.DB, id string) { rehash(t, db, id, forger) }, "not with the shop's key"},
		"hashed anew, heads gone": {func(t *testing.T, db *sql.DB, id string) { rehash(t, db, id, nil); do(t, db, "DELETE FROM heads") }, "no signed head"},
		"the last entry gone": {func(t *testing.T, db *sql.DB, id string) {
			do(t, db, "DELETE FROM entries WHERE ord = (SELECT max(ord) FROM entries)")
		}, "taken away"},
		"a whole job gone": {func(t *testing.T, db *sql.DB, id string) { do(t, db, "DELETE FROM entries") }, "taken away"},
		"one byte of an entry": {func(t *testing.T, db *sql.DB, id string) {
			do(t, db, "UPDATE entries SET line = CAST(replace(line, 'loose', 'tight') AS BLOB)")
		}, "changed after it was written"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s, err := sqlite.Open(dir, sqlite.Options{Create: true, Reserve: 4096})
			if err != nil {
				t.Fatal(err)
			}
			b := benchOver(t, s)
			id := openTorvane(t, b)
			mustWrite(t, b, id, cmd("n1", job.NoteType, job.Note{Text: "boot of cylinder 3 is loose"}))
			mustWrite(t, b, id, cmd("n2", job.NoteType, job.Note{Text: "second"}))
			b.Close()
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			db, err := sql.Open("sqlite", filepath.Join(dir, "proveout.db"))
			if err != nil {
				t.Fatal(err)
			}
			do(t, db, "DROP TRIGGER entries_stay_as_written")
			do(t, db, "DROP TRIGGER entries_stay")
			c.harm(t, db, id)
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			s, err = sqlite.Open(dir, sqlite.Options{ReadOnly: true})
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			v, err := VerifyStore(t.Context(), s, VerifyOptions{})
			if err != nil {
				t.Fatal(err)
			}
			if got := fmt.Sprint(v.Found); (c.says == "") != (len(v.Found) == 0) || !strings.Contains(got, c.says) {
				t.Errorf("found %s, want %q", got, c.says)
			}
		})
	}
}

func do(t *testing.T, db *sql.DB, query string, args ...any) {
	t.Helper()
	if _, err := db.Exec(query, args...); err != nil {
		t.Fatal(err)
	}
}

// rehash changes a word and makes all hashes fit again; with a key it signs the
// ends too.
func rehash(t *testing.T, db *sql.DB, id string, key *ShopKey) {
	t.Helper()
	rows, err := db.Query("SELECT ord, line FROM entries WHERE job = ?1 ORDER BY ord", id)
	if err != nil {
		t.Fatal(err)
	}
	type row struct {
		ord  int64
		line []byte
	}
	var all []row
	for rows.Next() {
		var r row
		if err := rows.Scan(&r.ord, &r.line); err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
	rows.Close()
	heads := map[string]job.Head{}
	for _, r := range all {
		line := bytes.Replace(r.line, []byte("loose"), []byte("tight"), 1)
		var e job.Entry
		if err := json.Unmarshal(line, &e); err != nil {
			t.Fatal(err)
		}
		e.Previous = heads[e.Device].Digest
		if line, err = json.Marshal(e); err != nil {
			t.Fatal(err)
		}
		h := job.Head{Sequence: e.Sequence, Digest: job.Digest(line)}
		heads[e.Device] = h
		do(t, db, "UPDATE entries SET line = ?2, digest = ?3 WHERE ord = ?1", r.ord, line, h.Digest)
	}
	if key == nil {
		return
	}
	for device, h := range heads {
		s := key.sign(id, device, h)
		do(t, db, "UPDATE heads SET digest = ?3, key = ?4, signature = ?5 WHERE job = ?1 AND device = ?2", id, device, s.Digest, s.Key, s.Signature)
	}
}
