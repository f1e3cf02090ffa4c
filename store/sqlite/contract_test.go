package sqlite

import (
	"errors"
	"testing"

	"github.com/ncruces/go-sqlite3"
	_ "github.com/ncruces/go-sqlite3/driver"

	"proveout/store"
	"proveout/store/storetest"
)

// ncruces is SQLite translated from C through WebAssembly to Go: another engine
// under the same contract. What differs between the two is a fault in one of them,
// or in how we use it.
var ncruces = driver{name: "sqlite3", code: func(err error) (int, bool) {
	var code sqlite3.ExtendedErrorCode
	if errors.As(err, &code) {
		return int(code), true
	}
	return 0, false
}}

var engines = []driver{modernc, ncruces}

func TestContract(t *testing.T) {
	for _, d := range engines {
		t.Run(d.name, func(t *testing.T) {
			storetest.Run(t, func(t *testing.T, dir string) store.Store { return openWith(t, d, dir) })
		})
	}
}

func openWith(t *testing.T, d driver, dir string) *Store {
	t.Helper()
	s, err := Open(dir, Options{Create: true, Reserve: 64 << 10, driver: &d})
	if err != nil {
		t.Fatal(err)
	}
	return s
}
