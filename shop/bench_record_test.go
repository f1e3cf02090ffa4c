package shop

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"proveout/job"
	"proveout/store"
	"proveout/store/sqlite"
)

// Erasing a customer takes name, telephone, VIN and plate off every screen; the
// record stays whole and still verifies.
func TestErasedOnRequest(t *testing.T) {
	b := newTestBench(t)
	ctx := t.Context()
	for _, err := range []error{
		b.SetCustomer(ctx, "cust1", CustomerData{Name: "Mara Quill", Phone: "0170 5550199"}),
		b.SetVehicle(ctx, "cust1", "car1", VehicleData{Plate: "QL 204 T", VIN: "1M8GDM9AXKP042788"}),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	id := openTorvane(t, b)
	page := func() string {
		v, err := b.Job(ctx, id)
		if err != nil {
			t.Fatal(err)
		}
		board, err := b.Board(ctx)
		if err != nil {
			t.Fatal(err)
		}
		a, err := b.Answer(ctx, id)
		if err != nil {
			t.Fatal(err)
		}
		out, err := json.Marshal([]any{v, board, a.Vehicle})
		if err != nil {
			t.Fatal(err)
		}
		return string(out)
	}
	secrets := []string{"Mara Quill", "5550199", "QL 204 T", "1M8GDM9AXKP042788"}
	shown := page()
	for _, s := range secrets {
		if !strings.Contains(shown, s) {
			t.Errorf("before: %q is not shown", s)
		}
	}
	if err := b.Erase(ctx, "cust1"); err != nil {
		t.Fatal(err)
	}
	gone := page()
	for _, s := range secrets {
		if strings.Contains(gone, s) {
			t.Errorf("after: %q is still shown", s)
		}
	}
	if !strings.Contains(gone, `"erased":true`) {
		t.Error("the screens do not say that it was erased")
	}
	if err := b.SetCustomer(ctx, "cust1", CustomerData{Name: "again"}); !errors.Is(err, store.ErrErased) {
		t.Errorf("new data for an erased customer: %v", err)
	}
	v, err := VerifyStore(ctx, b.store, VerifyOptions{})
	if err != nil || len(v.Found) > 0 {
		t.Errorf("the record: %+v, %v", v, err)
	}
	for _, e := range mustEntries(t, b, id) {
		for _, s := range secrets {
			if bytes.Contains(e.Payload, []byte(s)) {
				t.Errorf("entry %s holds %q", e.Type, s)
			}
		}
	}
}

func mustEntries(t *testing.T, b *Bench, id string) []EntryView {
	t.Helper()
	out, err := b.Entries(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// conclusions waits until the newest answer has been concluded from.
func conclusions(t *testing.T, b *Bench, id string, n int) []job.Said[job.Conclusion] {
	t.Helper()
	if _, err := b.Answer(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	var got []job.Said[job.Conclusion]
	for range 200 {
		s, err := b.State(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		if got = s.Conclusions; len(got) >= n {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	return got
}

// A conclusion is stored with what it was drawn with, and again only when it says
// something else.
func TestConclusionsArePinned(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	first := conclusions(t, b, id, 1)
	if len(first) != 1 {
		t.Fatalf("%d conclusions after the complaint", len(first))
	}
	c := first[0].What
	if first[0].Author != "program" || c.Program != "test" || c.Decoder != DecoderVersion || len(c.Books) == 0 || len(c.Books[0].SHA256) != 64 || len(c.Answer) != 64 || len(c.Odds) == 0 || c.Record == 0 {
		t.Errorf("conclusion %+v", c)
	}
	mustWrite(t, b, id, cmd("note", job.NoteType, job.Note{Text: "nothing to do with the odds"}))
	gap := `{"feature":"plug.gap","values":{"1":"1.0 mm","2":"1.02 mm","3":"1.62 mm","4":"1.01 mm"},"instrument":"feeler gauge"}`
	mustWrite(t, b, id, cmd("gap", job.ReadingTypedType, job.ReadingTyped{Form: job.Form(gap)}))
	second := conclusions(t, b, id, 2)
	if len(second) != 2 || second[1].What.Odds[0].Suspect == c.Odds[0].Suspect {
		t.Errorf("after a wide gap: %d conclusions, leading %+v", len(second), second[len(second)-1].What.Odds[0])
	}
	if n := len(conclusions(t, b, id, 2)); n != 2 {
		t.Errorf("the same conclusion was written again: %d", n)
	}
}

// Everything is still there when the program is started anew, and a command sent
// once more across the restart still counts once.
func TestStartedAnew(t *testing.T) {
	dir := t.TempDir()
	open := func() (*sqlite.Store, *Bench) {
		s, err := sqlite.Open(dir, sqlite.Options{Create: true, Reserve: 4096})
		if err != nil {
			t.Fatal(err)
		}
		return s, benchOver(t, s)
	}
	s, b := open()
	id := openTorvane(t, b)
	c := cmd("n1", job.NoteType, job.Note{Text: "one"})
	c.Device, c.N = "phone", 1
	first := mustWrite(t, b, id, c)
	b.Close()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s, b = open()
	defer func() { b.Close(); s.Close() }()
	b.o.NewID = func() string { return "later" + fmt.Sprint(time.Now().UnixNano()) }
	again := mustWrite(t, b, id, c)
	if !again.Again || again.Entry != first.Entry {
		t.Errorf("after a restart: %+v, first %+v", again, first)
	}
	next := cmd("n2", job.NoteType, job.Note{Text: "two"})
	next.Device, next.N = "phone", 2
	if r := mustWrite(t, b, id, next); r.Late {
		t.Error("the device's counter was forgotten")
	}
	// Number 3 was refused and left no trace; the device had its answer, so nobody waits.
	b.o.HoldFor = time.Hour
	after := cmd("n4", job.NoteType, job.Note{Text: "four"})
	after.Device, after.N, after.Settled = "phone", 4, 3
	if r := mustWrite(t, b, id, after); r.Late {
		t.Error("a command after a refused one is marked as if one were missing")
	}
	v, err := VerifyStore(t.Context(), s, VerifyOptions{})
	if err != nil || len(v.Found) > 0 {
		t.Errorf("%+v, %v", v, err)
	}
}

func TestWhatIsRefused(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	v, err := b.Job(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	opened := v.Entries[0].ID
	note := func(change func(*Command)) Command {
		c := cmd("k", job.NoteType, job.Note{Text: "x"})
		change(&c)
		return c
	}
	for name, c := range map[string]Command{
		"no key":        note(func(c *Command) { c.Key = "" }),
		"no device":     note(func(c *Command) { c.Device = "" }),
		"no author":     note(func(c *Command) { c.Author = " " }),
		"received":      cmd("k", job.ReceivedType, job.Received{}),
		"unknown type":  note(func(c *Command) { c.Type = "noted@1" }),
		"undo nothing":  cmd("k", job.UndoType, job.Undo{Entry: "made-up"}),
		"undo no entry": cmd("k", job.UndoType, job.Undo{}),
		"undo the job":  cmd("k", job.UndoType, job.Undo{Entry: opened}),
		"no such order": cmd("k", job.PartArrivedType, job.PartArrived{Entry: "made-up"}),
		"no such item":  cmd("k", job.SetAsideType, job.SetAside{Item: 7, Reason: "x"}),
		"no reason":     cmd("k", job.OverruledType, job.Overruled{Suspect: "x", State: "open"}),
		"no capture":    cmd("k", job.CaptureAddedType, job.CaptureAdded{SHA256: strings.Repeat("0", 64), Name: "x"}),
		"line in a key": note(func(c *Command) { c.Payload = json.RawMessage("{\"text\":\"a\"}\n{}") }),
	} {
		if _, err := b.Write(t.Context(), id, c); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
	if _, err := b.Write(t.Context(), "nobody", note(func(*Command) {})); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("a job that is not there: %v", err)
	}
	for name, p := range map[string]job.Closed{"nothing improved": {Result: "improved", Because: "customer in a hurry"}, "no reason": {Result: "not_proven"}} {
		if _, err := b.Write(t.Context(), id, cmd(name, job.ClosedType, p)); !errors.Is(err, ErrBadCommand) {
			t.Errorf("closed with %s: %v", name, err)
		}
	}
	mustWrite(t, b, id, cmd("right", job.CorrectionType, job.Corrected{Done: "Plug 1 renewed."}))
	mustWrite(t, b, id, cmd("close", job.ClosedType, job.Closed{Result: "improved", Because: "customer in a hurry"}))
	undo := mustWrite(t, b, id, cmd("rang", job.NoteType, job.Note{Text: "customer rang"})).Entry
	for name, c := range map[string]Command{
		"a taking back": cmd("undo", job.UndoType, job.Undo{Entry: undo}), "somebody's time": cmd("in", job.TimePunchType, job.TimePunch{What: "in"}),
	} {
		if _, err := b.Write(t.Context(), id, c); !errors.Is(err, ErrBadCommand) {
			t.Errorf("%s in a closed job: %v", name, err)
		}
	}
	if _, err := b.Write(t.Context(), id, cmd("gap", job.ReadingTypedType, job.ReadingTyped{Form: job.Form(`{"feature":"plug.gap","cylinder":1,"value":"1 mm"}`)})); !errors.Is(err, ErrBadCommand) {
		t.Errorf("a reading in a closed job: %v", err)
	}
	mustWrite(t, b, id, cmd("late", job.NoteType, job.Note{Text: "customer rang: all well"}))
}

// Who looks at a job hears of every change to it, and of no other's.
func TestChangesAreTold(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	other, _, err := b.Open(t.Context(), cmd("open2", job.ReceivedType, job.Received{Vehicle: job.Form(torvane)}))
	if err != nil {
		t.Fatal(err)
	}
	ch, stop := b.Changes(id)
	mustWrite(t, b, other, cmd("o", job.NoteType, job.Note{Text: "x"}))
	r := mustWrite(t, b, id, cmd("n", job.NoteType, job.Note{Text: "x"}))
	deadline := time.After(5 * time.Second)
	for seen := false; !seen; {
		select {
		case c := <-ch:
			if c.Job != id {
				t.Fatalf("told of %+v", c)
			}
			seen = c.What == "entry" && c.Rev == r.Sequence
		case <-deadline:
			t.Fatal("not told")
		}
	}
	stop()
	stop()
	for range ch { // what was on its way; then it is closed
	}
}

// The stages of a job move one way, and a later square never stands before an
// earlier one.
func TestStages(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	now := func() string {
		s, err := b.State(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		var out []string
		for _, st := range stages(s, nil) {
			out = append(out, st.State)
		}
		return strings.Join(out, " ")
	}
	steps := []struct {
		c    Command
		want string
	}{
		{cmd("a", job.NoteType, job.Note{Text: "x"}), "done now open open open open"},
		{cmd("b", job.ReadingTypedType, job.ReadingTyped{Form: job.Form(`{"feature":"plug.gap","cylinder":1,"value":"1 mm"}`)}), "done done now open open open"},
		{cmd("c", job.CorrectionType, job.Corrected{Done: "plug renewed"}), "done done done done done now"},
		{cmd("d", job.ClosedType, job.Closed{Result: "not_proven", Because: "no time"}), "done done done done done open"},
		{cmd("e", job.ReopenedType, job.Reopened{}), "done done done done done now"},
		{cmd("f", job.ClosedType, job.Closed{Result: "proven"}), "done done done done done done"},
	}
	for _, s := range steps {
		mustWrite(t, b, id, s.c)
		if got := now(); got != s.want {
			t.Errorf("after %s: %s, want %s", s.c.Type, got, s.want)
		}
	}
}

// An open job with a long capture stays small once it is measured: the samples are
// on disk. 100 MB are allowed (DECISIONS).
func TestOpenJobStaysSmall(t *testing.T) {
	if testing.Short() {
		t.Skip("writes 30 MB")
	}
	b := newTestBench(t)
	id := openTorvane(t, b)
	var csv bytes.Buffer
	csv.WriteString("t,p\n")
	for i := range 2_000_000 {
		fmt.Fprintf(&csv, "%.4f,%d\n", float64(i)*1e-4, 300+i%50)
	}
	sha, size, _, err := b.store.Put(t.Context(), &csv)
	if err != nil {
		t.Fatal(err)
	}
	csv = bytes.Buffer{}
	mustWrite(t, b, id, cmd("c", job.CaptureAddedType, job.CaptureAdded{SHA256: sha, Size: size, Name: "fuel.csv", Form: job.Form(`{"kind":"fuel_pressure","columns":[{"column":"t","as":"time","unit":"s"},{"column":"p","as":"fuel_pressure","unit":"kPa"}]}`)}))
	if _, err := b.Answer(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Capture(t.Context(), id, 1); err != nil {
		t.Fatal(err)
	}
	pairs, err := b.ItemSamples(t.Context(), id, 1, 0, 0, 2_000_000, 1000)
	if err != nil || len(pairs) != 8000 {
		t.Fatalf("%d bytes of picture, %v", len(pairs), err)
	}
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	t.Logf("%d MB in use with the job open", m.HeapAlloc>>20)
	if m.HeapAlloc > 100<<20 {
		t.Errorf("%d MB in use with one job open", m.HeapAlloc>>20)
	}
}

// What is derived can be thrown away: without its cache the workbench shows the
// same picture.
func TestCacheCanBeThrownAway(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	data, err := os.ReadFile("../examples/01-stumble-on-the-hill/captures/drive.csv")
	if err != nil {
		t.Fatal(err)
	}
	sha, size, _, err := b.store.Put(t.Context(), bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	mustWrite(t, b, id, cmd("c", job.CaptureAddedType, job.CaptureAdded{SHA256: sha, Size: size, Name: "drive.csv", Form: job.Form(`{"kind":"parameter_log"}`)}))
	first, err := b.ItemSamples(t.Context(), id, 1, 0, 0, 1<<40, 200)
	if err != nil || len(first) == 0 {
		t.Fatal(len(first), err)
	}
	b.traces.close()
	b.traces = newTraceShelf(b)
	cache := filepath.Join(b.store.Path(), "cache")
	if err := os.RemoveAll(cache); err != nil {
		t.Fatal(err)
	}
	second, err := b.ItemSamples(t.Context(), id, 1, 0, 0, 1<<40, 200)
	if err != nil || !slices.Equal(first, second) {
		t.Errorf("%d and %d bytes, %v", len(first), len(second), err)
	}
}
