// Package published reads the tables of published figures that stand in the testdata
// of the packages, each with its source in the file or beside the test that names it.
// Only tests import it.
package published

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// Rows gives the rows of testdata/NAME under its heading. There must be want of them:
// a table cut short would pass every test that ranges over it.
func Rows(t testing.TB, name string, want int) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if len(all)-1 != want {
		t.Fatalf("%s has %d rows under its heading, want %d", name, len(all)-1, want)
	}
	return all[1:]
}

// Number is a figure of such a table.
func Number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
