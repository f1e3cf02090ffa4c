package shop

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"proveout/job"
	"proveout/store"
	"proveout/store/sqlite"
)

// newTestBench opens a workbench over a real store with a clock and ids that
// count.
func newTestBench(t testing.TB) *Bench {
	t.Helper()
	s, err := sqlite.Open(t.TempDir(), sqlite.Options{Create: true, Reserve: 4096})
	if err != nil {
		t.Fatal(err)
	}
	b := benchOver(t, s)
	t.Cleanup(func() {
		b.Close()
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return b
}

func benchOver(t testing.TB, s store.Store) *Bench {
	t.Helper()
	var n atomic.Int64
	start := time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("", 3600))
	b, err := NewBench(s, BenchOptions{
		Shop: "shop1", Program: "test", HoldFor: 400 * time.Millisecond,
		Clock: func() time.Time { return start.Add(time.Duration(n.Load()) * time.Second) },
		NewID: func() string { return fmt.Sprintf("id%d", n.Add(1)) },
	})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// cmd is a command of a device with what most tests do not care about.
func cmd(key, entryType string, payload any) Command {
	body, err := json.Marshal(payload)
	if err != nil {
		panic(err)
	}
	return Command{Key: key, Device: "tablet1", Author: "ines", Type: entryType, Payload: body, Boot: "boot1"}
}

const torvane = `{"make":"Torvane","model":"Brisk 1.6","year":2016,"odometer":"60745 km","engine":{"cylinders":4,"arrangement":"inline","firing_order":[1,3,4,2],"ignition":"coil_on_plug","injection":"port","boosted":false,"fuel":"petrol"}}`

const stumbles = `{"said":"It stumbles when it pulls up the hill.","symptoms":["misfire_load"],"conditions":{"state":["load"],"hill":"yes","warm":"warm","wet":"dry"}}`

func openTorvane(t testing.TB, b *Bench) string {
	t.Helper()
	id, _, err := b.Open(t.Context(), cmd("open", job.ReceivedType, job.Received{
		Title: "QL-0417", Vehicle: job.Form(torvane), Complaint: job.Form(stumbles), Customer: "cust1", VehicleID: "car1", AgreedMinutes: 60,
	}))
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func mustWrite(t testing.TB, b *Bench, id string, c Command) Receipt {
	t.Helper()
	r, err := b.Write(t.Context(), id, c)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// A job from the counter to an answer: what is written is shown, and the odds
// come after.
func TestFromTheCounterToAnAnswer(t *testing.T) {
	b := newTestBench(t)
	ctx := t.Context()
	if err := b.SetVehicle(ctx, "cust1", "car1", VehicleData{Plate: "QL 204 T"}); err != nil {
		t.Fatal(err)
	}
	id := openTorvane(t, b)
	r := mustWrite(t, b, id, cmd("gap", job.ReadingTypedType, job.ReadingTyped{Form: job.Form(`{"feature":"plug.gap","values":{"1":"1.0 mm","2":"1.02 mm","3":"1.62 mm","4":"1.01 mm"},"instrument":"feeler gauge"}`)}))
	if r.Item != 1 || r.Sequence == 0 {
		t.Fatalf("receipt %+v", r)
	}
	a, err := b.Answer(ctx, id)
	if err != nil {
		t.Fatal(err)
	}
	if a.Vehicle.Plate != "QL 204 T" || len(a.Suspects) == 0 || a.Suspects[0].ID != "plug_gap_wide@cyl3" {
		t.Fatalf("plate %q, leading %+v", a.Vehicle.Plate, a.Suspects[:1])
	}
	board, err := b.Board(ctx)
	if err != nil || len(board.Rows) != 1 || board.Rows[0].Plate != "QL 204 T" || board.Rows[0].Complaint == "" {
		t.Fatalf("board %+v, %v", board, err)
	}
	v, err := b.Job(ctx, id)
	if err != nil || len(v.Items) != 1 || v.Answer == nil {
		t.Fatalf("view %+v, %v", v, err)
	}
}

// The same command again gets the same answer; another under its key is refused.
func TestACommandCountsOnce(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	c := cmd("note1", job.NoteType, job.Note{Text: "cold start was fine"})
	first := mustWrite(t, b, id, c)
	again := mustWrite(t, b, id, c)
	if !again.Again || again.Entry != first.Entry || again.Sequence != first.Sequence {
		t.Fatalf("first %+v, again %+v", first, again)
	}
	c.Payload = json.RawMessage(`{"text":"something else"}`)
	if _, err := b.Write(t.Context(), id, c); !errors.Is(err, store.ErrKeyUsed) {
		t.Fatalf("another command under the same key: %v", err)
	}
	if entries, err := b.Entries(t.Context(), id); err != nil || len(entries) != 2 {
		t.Fatalf("%d entries, want 2 (%v)", len(entries), err)
	}
}

// A folder and a workbench job with the same evidence get the same answer: there
// is one engine.
func TestFolderAndWorkbenchAgree(t *testing.T) {
	b := newTestBench(t)
	ctx := t.Context()
	id := openTorvane(t, b)
	data, err := os.ReadFile("../examples/01-stumble-on-the-hill/captures/drive.csv")
	if err != nil {
		t.Fatal(err)
	}
	up, err := b.Upload(ctx, "drive.csv", int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Append(ctx, up, 0, bytes.NewReader(data)); err != nil {
		t.Fatal(err)
	}
	u, err := b.Finish(ctx, up)
	if err != nil {
		t.Fatal(err)
	}
	form := job.Form(`{"kind":"parameter_log","condition":{"warm":"warm","wet":"dry"}}`)
	mustWrite(t, b, id, cmd("cap", job.CaptureAddedType, job.CaptureAdded{SHA256: u.SHA256, Name: "drive.csv", Size: u.Size, Form: form}))
	here, err := b.Answer(ctx, id)
	if err != nil {
		t.Fatal(err)
	}

	dir := t.TempDir()
	s, err := b.State(ctx, id)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(dir+"/captures", 0o755); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(os.WriteFile(dir+"/job.yaml", s.Text(job.Private{}), 0o644), os.WriteFile(dir+"/captures/drive.csv", data, 0o644)); err != nil {
		t.Fatal(err)
	}
	there, err := Diagnose(dir, Options{Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	x, _ := json.Marshal(here)
	y, _ := json.Marshal(there)
	if string(x) != string(y) {
		t.Errorf("the workbench says\n%.2000s\nthe folder says\n%.2000s", x, y)
	}
}

// Commands of one device are taken in the order of its own counter, whatever order
// they come in.
func TestCommandsOfADeviceStayInOrder(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	done := make(chan error, 2)
	send := func(n int64) {
		c := cmd(fmt.Sprintf("k%d", n), job.NoteType, job.Note{Text: fmt.Sprint(n)})
		c.Device, c.N = "phone", n
		_, err := b.Write(context.Background(), id, c)
		done <- err
	}
	go send(2)
	time.Sleep(5 * time.Millisecond)
	go send(1)
	for range 2 {
		if err := <-done; err != nil {
			t.Fatal(err)
		}
	}
	v, err := b.Job(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	var said []string
	for _, n := range v.Notes {
		said = append(said, n.What.Text)
	}
	if strings.Join(said, " ") != "1 2" {
		t.Errorf("notes came in as %v", said)
	}
	c := cmd("k9", job.NoteType, job.Note{Text: "9"})
	c.Device, c.N = "phone", 9
	if r := mustWrite(t, b, id, c); !r.Late {
		t.Error("a command whose predecessors never came is not marked")
	}
}

// A service without a reading has no odds: whoever asks is told so at once.
func TestServiceHasNoOdds(t *testing.T) {
	b := newTestBench(t)
	id, _, err := b.Open(t.Context(), cmd("open", job.ReceivedType, job.Received{Kind: "service", Procedure: "epb_caliper_pads"}))
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	if _, err := b.Answer(ctx, id); !errors.Is(err, ErrNotDiagnosed) {
		t.Errorf("asked for the odds of a service: %v", err)
	}
}
