package cli

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "write the expected output of the scripts anew")

// TestMain lets the scripts run the real command line as a process.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"proveout": func() { os.Exit(Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// TestScripts runs the stories under testdata/script: each is a page of command
// lines and what must come out.
func TestScripts(t *testing.T) {
	root, err := filepath.Abs("..")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script", UpdateScripts: *update,
		Setup: func(e *testscript.Env) error { e.Setenv("ROOT", root); return nil },
	})
}
