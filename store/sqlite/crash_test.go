package sqlite

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"proveout/job"
	"proveout/store"
	"proveout/store/storetest"
)

// crashEnv makes this test program the child that is killed.
const crashEnv = "PROVEOUT_CRASH_CHILD"

func TestMain(m *testing.M) {
	if dir := os.Getenv(crashEnv); dir != "" {
		crashChild(dir)
	}
	os.Exit(m.Run())
}

// crashChild writes entries, captures and personal data as fast as it can, and
// says what was acknowledged.
func crashChild(dir string) {
	die := func(err error) {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	s, err := Open(dir, Options{Create: true, Reserve: 4096})
	if err != nil {
		die(err)
	}
	var tb quiet
	c, err := chainOf(s, "j1", "d1")
	if err != nil {
		die(err)
	}
	out := bufio.NewWriter(os.Stdout)
	for n := c.Count(); ; n++ {
		b := c.Note(tb, fmt.Sprint(n))
		b.Receipt = &store.Receipt{Key: fmt.Sprint("k", n), Device: "d1", N: int64(n + 1), Body: "b", Answer: []byte("{}")}
		if n%5 == 0 {
			body := bytes.Repeat(fmt.Appendf(nil, "%d,", n), 5000)
			sha, size, _, err := s.Put(tb.Context(), bytes.NewReader(body))
			if err != nil {
				die(err)
			}
			c.Back()
			b.Lines[0] = c.Next(tb, job.CaptureAddedType, job.CaptureAdded{Item: n + 1, SHA256: sha, Name: "c.csv", Size: size})
			b.Cites = []string{sha}
		}
		if _, err := s.Append(tb.Context(), b); err != nil {
			die(err)
		}
		fmt.Fprintln(out, "entry", n+1)
		if n%7 == 0 {
			if err := s.PutPersonal(tb.Context(), fmt.Sprint("c", n), "customer", fmt.Append(nil, n)); err != nil {
				die(err)
			}
			fmt.Fprintln(out, "customer", n)
		}
		if err := out.Flush(); err != nil {
			die(err)
		}
	}
}

// quiet is a testing.TB for the child, where nothing is tested.
type quiet struct{ testing.TB }

func (quiet) Helper() {}

func (quiet) Context() context.Context { return context.Background() }

// chainOf goes on with a chain that is in the store.
func chainOf(s *Store, jobID, device string) (*storetest.Chain, error) {
	c := &storetest.Chain{Job: jobID, Device: device}
	lines, err := s.Entries(quiet{}.Context(), jobID, 0)
	if err == nil {
		c.Resume(job.HeadsOf(lines)[device])
	}
	return c, err
}

// Killed at random moments, over and over in one folder: nothing that was
// acknowledged is lost, everything fits together, and it goes on.
func TestKilledAtRandom(t *testing.T) {
	rounds := 25
	if testing.Short() {
		rounds = 6
	}
	dir := t.TempDir()
	r := rand.New(rand.NewPCG(3, 4))
	total := 0
	for round := range rounds {
		entries, customers := killed(t, dir, time.Duration(20+r.IntN(120))*time.Millisecond)
		s := openWith(t, engines[round%len(engines)], dir)
		lines, err := s.Entries(t.Context(), "j1", 0)
		if err != nil {
			t.Fatal(err)
		}
		if len(lines) < entries {
			t.Fatalf("round %d: %d entries acknowledged, %d are there", round, entries, len(lines))
		}
		for _, id := range customers {
			got, err := s.Personal(t.Context(), "c"+id, "customer")
			if err != nil || string(got) != id {
				t.Errorf("round %d: personal data of customer %s: %q, %v", round, id, got, err)
			}
		}
		found, err := s.Verify(t.Context(), store.Verification{})
		if err != nil || len(found) > 0 {
			t.Fatalf("round %d: %v, %v", round, found, err)
		}
		if _, err := s.Receipt(t.Context(), fmt.Sprint("k", len(lines)-1)); err != nil {
			t.Errorf("round %d: the receipt of the last entry: %v", round, err)
		}
		total = len(lines)
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if total < rounds {
		t.Errorf("only %d entries in %d rounds: the child hardly ran", total, rounds)
	}
	t.Logf("%d entries over %d kills", total, rounds)
}

// killed runs the child for a while after its first word, kills it, and says what
// it acknowledged.
func killed(t *testing.T, dir string, after time.Duration) (entries int, customers []string) {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), crashEnv+"="+dir)
	var errs bytes.Buffer
	child.Stderr = &errs
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	armed := false
	for lines.Scan() {
		if !armed {
			armed = true
			time.AfterFunc(after, func() { _ = child.Process.Kill() })
		}
		what, arg, _ := strings.Cut(lines.Text(), " ")
		switch what {
		case "entry":
			if _, err := fmt.Sscan(arg, &entries); err != nil {
				t.Fatal(err)
			}
		case "customer":
			customers = append(customers, arg)
		}
	}
	if err := child.Wait(); err == nil || errs.Len() > 0 {
		t.Fatalf("the child ended by itself: %v, %s", err, errs.String())
	}
	return entries, customers
}

// A database file that lost its end, or a page in it, is found and named.
func TestDamageIsFoundAndNamed(t *testing.T) {
	for name, harm := range map[string]func(b []byte) []byte{
		"cut off":         func(b []byte) []byte { return b[:len(b)-len(b)/3] },
		"a page of zeros": func(b []byte) []byte { clear(b[4096*2 : 4096*3]); return b },
		"another file":    func(b []byte) []byte { return []byte(strings.Repeat("this is a letter. ", 1000)) },
		"no header":       func(b []byte) []byte { clear(b[:100]); return b },
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s := openWith(t, modernc, dir)
			c := &storetest.Chain{Job: "j1", Device: "d1"}
			for i := range 50 {
				if _, err := s.Append(t.Context(), c.Note(t, strings.Repeat(fmt.Sprint(i), 500))); err != nil {
					t.Fatal(err)
				}
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			path := dir + "/" + database
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, harm(data), 0o644); err != nil {
				t.Fatal(err)
			}
			if said := whatIsWrong(t, dir); !strings.Contains(said, database) {
				t.Errorf("the damage is not named: %q", said)
			}
		})
	}
}

// whatIsWrong is what opening and verifying say.
func whatIsWrong(t *testing.T, dir string) string {
	t.Helper()
	s, err := Open(dir, Options{Reserve: 4096})
	if err != nil {
		return err.Error()
	}
	defer s.Close()
	found, err := s.Verify(t.Context(), store.Verification{})
	if err != nil {
		return err.Error()
	}
	return fmt.Sprint(found)
}
