package sqlite

import (
	"errors"
	"net/url"

	engine "modernc.org/sqlite"
)

// driver is the SQL engine: everything that differs between two of them.
type driver struct {
	name   string
	params url.Values // added to every connection; tests put a failing disk under it
	// code gives SQLite's extended result code of an error.
	code func(error) (int, bool)
}

// modernc is SQLite compiled from C to Go. Its libc is pinned to the version its
// own go.mod names: never upgrade modernc.org/libc alone.
var modernc = driver{name: "sqlite", code: func(err error) (int, bool) {
	var e *engine.Error
	if errors.As(err, &e) {
		return e.Code(), true
	}
	return 0, false
}}

// use is what a connection is for.
type use int

const (
	reading use = iota
	writing
	copying
)

// dsn opens a database with what every connection needs, busy_timeout first.
func (d driver) dsn(path string, u use) string {
	q := url.Values{}
	pragmas := []string{"busy_timeout(10000)", "synchronous(full)", "foreign_keys(1)", "secure_delete(1)", "temp_store(memory)", "cache_size(-8000)"}
	switch u {
	case reading:
		pragmas = append(pragmas, "query_only(1)")
	case writing:
		pragmas = append(pragmas, "journal_mode(wal)")
	}
	for _, p := range pragmas {
		q.Add("_pragma", p)
	}
	q.Set("_txlock", "immediate")
	for k, v := range d.params {
		q[k] = append(q[k], v...)
	}
	return (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath(), RawQuery: q.Encode()}).String()
}
