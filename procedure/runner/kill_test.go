//go:build unix

package runner_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"proveout/procedure"
	"proveout/procedure/player"
	"proveout/procedure/runner"
)

// script is a whole run of a procedure with power lost once, as entries.
func script(t testing.TB, m *procedure.Machine) []runner.Entry {
	at := ""
	for i := range m.Steps {
		if m.Steps[i].Command {
			at = m.Steps[i].ID
			break
		}
	}
	r := player.Rehearsal{}
	if at != "" {
		r = player.Rehearsal{Kind: "device_dies", Step: at}
	}
	told, err := player.Rehearse(m, r)
	if err != nil {
		t.Fatal(err)
	}
	if !told.Finished {
		t.Fatalf("%s: the script does not finish: %v", m.File.ID, told.Lines[max(0, len(told.Lines)-5):])
	}
	return told.Entries
}

// diskStore writes to a file and syncs; it kills its own process at an entry.
type diskStore struct {
	f    *os.File
	left int    // lines until it dies; -1 never
	mode string // before, torn, after
}

func (d *diskStore) Append(line []byte) error {
	die := d.left == 0
	d.left--
	if die && d.mode == "before" {
		kill()
	}
	if die && d.mode == "torn" {
		d.f.Write(line[:len(line)/2])
		d.f.Sync()
		kill()
	}
	if _, err := d.f.Write(line); err != nil {
		return err
	}
	if err := d.f.Sync(); err != nil {
		return err
	}
	if die && d.mode == "after" {
		kill() // stored, not acknowledged
	}
	return nil
}

func kill() {
	syscall.Kill(os.Getpid(), syscall.SIGKILL)
	select {} // the signal is on its way
}

// TestMain is the child process too: it puts the entries of the script and is killed
// in the middle.
func TestMain(m *testing.M) {
	id := os.Getenv("PROVEOUT_KILL")
	if id == "" {
		os.Exit(m.Run())
	}
	mach, _, err := procedure.LoadShipped(id)
	if err != nil {
		panic(err)
	}
	told, err := player.Rehearse(mach, rehearsalFromEnv())
	if err != nil {
		panic(err)
	}
	at, _ := strconv.Atoi(os.Getenv("PROVEOUT_KILL_AT"))
	f, err := os.OpenFile(os.Getenv("PROVEOUT_KILL_FILE"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		panic(err)
	}
	s, err := runner.Open(mach, header(id), nil, &diskStore{f, at, os.Getenv("PROVEOUT_KILL_MODE")})
	if err != nil {
		panic(err)
	}
	for _, e := range told.Entries {
		if err := s.Put(e); err != nil {
			panic(err)
		}
	}
}

func rehearsalFromEnv() player.Rehearsal {
	kind, step, _ := strings.Cut(os.Getenv("PROVEOUT_KILL_REHEARSAL"), "@")
	return player.Rehearsal{Kind: kind, Step: step}
}

// TestKilledAtEveryEvent: the process is killed with SIGKILL before, while and after
// it stores each line of a run, and the run resumes identically: nothing that was
// acknowledged is lost, nothing half-written counts, and going on gives the same
// record to the byte. PROVEOUT_KILLS=all kills at every event of every shipped
// procedure; otherwise at some.
func TestKilledAtEveryEvent(t *testing.T) {
	every := 83
	if os.Getenv("PROVEOUT_KILLS") == "all" {
		every = 1
	}
	killed := 0
	for n, id := range procedure.Shipped() {
		m, _, err := procedure.LoadShipped(id)
		if err != nil {
			t.Fatal(err)
		}
		entries := script(t, m)
		states, want := reference(t, m, id, entries)
		for at := n % every; at <= len(entries); at += every {
			for _, mode := range []string{"before", "torn", "after"} {
				killed++
				file := filepath.Join(t.TempDir(), "record")
				die(t, m, id, at, mode, file)
				resume(t, m, id, at, mode, file, entries, states, want)
			}
		}
	}
	t.Logf("%d kills", killed)
}

// reference is the run without a kill: the state after each entry, and the record.
func reference(t *testing.T, m *procedure.Machine, id string, entries []runner.Entry) ([]procedure.State, []byte) {
	var buf memory
	s, err := runner.Open(m, header(id), nil, &buf)
	if err != nil {
		t.Fatal(err)
	}
	states := []procedure.State{s.Run.State()}
	for _, e := range entries {
		if err := s.Put(e); err != nil {
			t.Fatal(err)
		}
		states = append(states, s.Run.State())
	}
	return states, buf.Bytes()
}

func die(t *testing.T, m *procedure.Machine, id string, at int, mode, file string) {
	t.Helper()
	r := ""
	for i := range m.Steps {
		if m.Steps[i].Command {
			r = "device_dies@" + m.Steps[i].ID
			break
		}
	}
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), "PROVEOUT_KILL="+id, fmt.Sprint("PROVEOUT_KILL_AT=", at), "PROVEOUT_KILL_MODE="+mode, "PROVEOUT_KILL_FILE="+file, "PROVEOUT_KILL_REHEARSAL="+r)
	out, err := c.CombinedOutput()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
		t.Fatalf("%s at %d %s: the child was not killed: %v %s", id, at, mode, err, out)
	}
}

func resume(t *testing.T, m *procedure.Machine, id string, at int, mode, file string, entries []runner.Entry, states []procedure.State, want []byte) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	_, stored, _, torn, err := runner.Read(data)
	if err != nil {
		t.Fatalf("%s at %d %s: %v", id, at, mode, err)
	}
	data = data[:len(data)-torn]
	lines := at // line 0 is the header
	if mode == "after" {
		lines++
	}
	if got := bytes.Count(data, []byte("\n")); got != lines {
		t.Fatalf("%s at %d %s: %d lines survive, want %d", id, at, mode, got, lines)
	}
	var buf memory
	buf.Write(data)
	s, err := runner.Open(m, header(id), data, &buf)
	if err != nil {
		t.Fatalf("%s at %d %s: %v", id, at, mode, err)
	}
	if s.Run.State() != states[len(stored)] {
		t.Fatalf("%s at %d %s: comes back in another state", id, at, mode)
	}
	for _, e := range entries[len(stored):] {
		if err := s.Put(e); err != nil {
			t.Fatalf("%s at %d %s: cannot go on: %v", id, at, mode, err)
		}
	}
	if !bytes.Equal(buf.Bytes(), want) {
		t.Fatalf("%s at %d %s: the record differs from one without a kill", id, at, mode)
	}
}
