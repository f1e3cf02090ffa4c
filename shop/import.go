package shop

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"proveout/intake"
	"proveout/job"
	"proveout/store"
	"proveout/strict"
)

// Imported says what became of a job folder.
type Imported struct {
	Job      string   `json:"job"`
	Entries  int      `json:"entries"`
	Captures int      `json:"captures"`
	Record   bool     `json:"record"` // the folder brought a record: its entries have the same hashes here
	Notes    []string `json:"notes"`
	LeftOut  []string `json:"left_out"`
}

// importDevice is the device of entries made from a folder without a record.
const importDevice = "import"

// maxRecord is the longest record that is read from a folder (our choice).
const maxRecord = 1 << 30

// Import takes a job folder into the store. A folder with a record keeps every
// entry byte for byte; of a plain folder entries are made. Nothing in the folder is
// changed. who is the person that does it: an opaque id.
func (b *Bench) Import(ctx context.Context, dir, who string) (*Imported, error) {
	folder, err := intake.OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	if folder.Has("record/" + entriesFile) {
		return b.importRecord(ctx, folder)
	}
	return b.importPlain(ctx, folder, who)
}

// importRecord takes in the entries of a folder as they are.
func (b *Bench) importRecord(ctx context.Context, folder *intake.Folder) (*Imported, error) {
	lines, heads, err := readRecord(folder)
	if err != nil {
		return nil, err
	}
	out := &Imported{Record: true, Entries: len(lines), Notes: []string{}, LeftOut: []string{}}
	if found := verifyFolder(lines, heads, nil, nil); len(found) > 0 {
		return nil, fmt.Errorf("the record of %s does not verify, nothing was imported: %s: %s", folder.Dir(), found[0].Where, found[0].Text)
	}
	out.Job = lines[0].Entry.Job
	if have, err := b.store.Entries(ctx, out.Job, 0); err != nil {
		return nil, err
	} else if len(have) > 0 {
		return nil, fmt.Errorf("job %s is here already, with %d entries; the folder has %d", out.Job, len(have), len(lines))
	}
	state := job.Fold(lines)
	batch := store.Batch{Job: out.Job}
	for i := range state.Items {
		it := &state.Items[i]
		if it.Kind != "capture" {
			continue
		}
		sha, err := b.putFile(ctx, folder, it.File)
		switch {
		case err != nil:
			return nil, fmt.Errorf("item %d: %w", it.Number, err)
		case sha != it.SHA256:
			return nil, fmt.Errorf("item %d: %s has the hash %s, the record says %s: it was changed; nothing was imported", it.Number, it.File, sha, it.SHA256)
		}
		batch.Cites = append(batch.Cites, sha)
		out.Captures++
	}
	for i := range lines {
		batch.Lines = append(batch.Lines, lines[i].Bytes)
	}
	if err := b.importPrivate(ctx, folder, state, out); err != nil {
		return nil, err
	}
	if batch.Heads, err = b.signAll(out.Job, lines); err != nil {
		return nil, err
	}
	if batch.Row, err = b.row(state, out.Job, b.o.Clock()); err != nil {
		return nil, err
	}
	if _, err := b.put(ctx, batch); err != nil {
		return nil, err
	}
	b.cases.drop(out.Job)
	b.feed.tell(Change{Job: out.Job, What: "entry"})
	return out, nil
}

// signAll signs the ends of chains that were verified.
func (b *Bench) signAll(jobID string, lines []job.Line) ([]store.SignedHead, error) {
	key, err := b.key()
	if err != nil {
		return nil, err
	}
	var out []store.SignedHead
	for device, h := range job.HeadsOf(lines) {
		out = append(out, key.sign(jobID, device, h))
	}
	return out, nil
}

// importPrivate keeps VIN and plate of an exported folder beside the chain.
func (b *Bench) importPrivate(ctx context.Context, folder *intake.Folder, s *job.State, out *Imported) error {
	f, err := readJob(folder)
	if err != nil {
		out.Notes = append(out.Notes, "job.yaml was not read, the record says it all but VIN and plate: "+err.Error())
		return nil
	}
	p := VehicleData{VIN: f.Vehicle.VIN, Plate: f.Vehicle.Plate}
	if p == (VehicleData{}) || s.Customer == "" || s.VehicleID == "" {
		return nil
	}
	if err := b.SetVehicle(ctx, s.Customer, s.VehicleID, p); errors.Is(err, store.ErrErased) {
		out.Notes = append(out.Notes, "VIN and plate stay out: this customer's data was erased here on request")
		return nil
	} else if err != nil {
		return err
	}
	return nil
}

// putFile keeps one file of a folder as a capture.
func (b *Bench) putFile(ctx context.Context, folder *intake.Folder, name string) (string, error) {
	in, err := folder.Open(name)
	if err != nil {
		return "", err
	}
	defer in.Close()
	sha, _, _, err := b.store.Put(ctx, in)
	return sha, err
}

// importPlain makes entries of a folder that has no record.
func (b *Bench) importPlain(ctx context.Context, folder *intake.Folder, who string) (*Imported, error) {
	f, err := readJob(folder)
	if err != nil {
		return nil, err
	}
	t := f.Take()
	out := &Imported{Notes: []string{}, LeftOut: []string{}}
	for _, n := range t.Left {
		out.LeftOut = append(out.LeftOut, fmt.Sprintf("field %q is not known", n))
	}
	m := &maker{b: b, id: b.o.NewID(), who: who, wall: b.o.Clock(), practice: f.Practice}
	if t.Private.VIN+t.Private.Plate+t.Customer.Name+t.Customer.Phone != "" {
		t.Received.Customer, t.Received.VehicleID = b.o.NewID(), b.o.NewID()
		if err := b.SetCustomer(ctx, t.Received.Customer, CustomerData{Name: t.Customer.Name, Phone: t.Customer.Phone}); err != nil {
			return nil, err
		}
		if err := b.SetVehicle(ctx, t.Received.Customer, t.Received.VehicleID, VehicleData{VIN: t.Private.VIN, Plate: t.Private.Plate}); err != nil {
			return nil, err
		}
	}
	if err := m.add(job.ReceivedType, t.Received); err != nil {
		return nil, err
	}
	if err := b.importItems(ctx, folder, t.Items, m, out); err != nil {
		return nil, err
	}
	out.Job, out.Entries = m.id, len(m.lines)
	return out, m.write(ctx)
}

// importItems gives items their numbers as the folder has them: written ones stay,
// the others get the next free ones.
func (b *Bench) importItems(ctx context.Context, folder *intake.Folder, items []job.TakenItem, m *maker, out *Imported) error {
	taken := map[int]bool{}
	for _, it := range items {
		taken[it.Item] = true
	}
	next := 0
	free := func() int {
		for next++; taken[next]; next++ {
		}
		return next
	}
	given := map[int]bool{}
	for _, it := range items {
		n := it.Item
		if n == 0 || given[n] {
			n = free()
		}
		given[n] = true
		if it.Kind == "reading" {
			if err := m.add(job.ReadingTypedType, job.ReadingTyped{Item: n, Form: it.Form}); err != nil {
				return err
			}
			if err := m.aside(n, it.SetAside); err != nil {
				return err
			}
			continue
		}
		names, err := folder.Glob(it.File)
		if err != nil {
			out.LeftOut = append(out.LeftOut, err.Error())
			continue
		}
		for i, name := range names {
			if i > 0 { // a pattern: each file is an item of its own
				n = free()
			}
			if err := m.capture(ctx, folder, name, n, it); err != nil {
				return err
			}
			out.Captures++
		}
	}
	return nil
}

// maker makes the entries of one import, one after another.
type maker struct {
	b        *Bench
	id, who  string
	wall     time.Time
	practice bool
	lines    [][]byte
	head     job.Head
	cites    []string
}

func (m *maker) add(entryType string, payload any) error {
	body, err := json.Marshal(payload)
	if err != nil {
		return err
	}
	line, err := json.Marshal(job.Entry{
		Schema: job.EntrySchemaID, ID: m.b.o.NewID(), Shop: m.b.o.Shop, Job: m.id, Author: m.who, Device: importDevice,
		Sequence: m.head.Sequence + 1, Previous: m.head.Digest, Wall: m.wall.Format(time.RFC3339Nano), Type: entryType, Parents: []string{},
		Practice: m.practice, Payload: body,
	})
	if err != nil {
		return err
	}
	m.lines = append(m.lines, line)
	m.head = job.Head{Sequence: m.head.Sequence + 1, Digest: job.Digest(line)}
	return nil
}

func (m *maker) capture(ctx context.Context, folder *intake.Folder, name string, n int, it job.TakenItem) error {
	sha, err := m.b.putFile(ctx, folder, name)
	if err != nil {
		return err
	}
	m.cites = append(m.cites, sha)
	size, err := folder.Size(name)
	if err != nil {
		return err
	}
	if err := m.add(job.CaptureAddedType, job.CaptureAdded{Item: n, SHA256: sha, Name: name, Size: size, Form: it.Form}); err != nil {
		return err
	}
	return m.aside(n, it.SetAside)
}

func (m *maker) aside(n int, reason string) error {
	if strings.TrimSpace(reason) == "" {
		return nil
	}
	return m.add(job.SetAsideType, job.SetAside{Item: n, Reason: reason})
}

// write puts all entries into the store at once.
func (m *maker) write(ctx context.Context) error {
	lines := make([]job.Line, len(m.lines))
	for i, l := range m.lines {
		e, err := job.ParseEntry(l)
		if err != nil {
			return err
		}
		lines[i] = job.Line{Bytes: l, Entry: e}
	}
	state := job.Fold(lines)
	if errs := strict.Errors(state.Problems); len(errs) > 0 {
		return fmt.Errorf("the folder cannot be taken in: %s", errs[0].Text)
	}
	heads, err := m.b.signAll(m.id, lines)
	if err != nil {
		return err
	}
	row, err := m.b.row(state, m.id, m.wall)
	if err != nil {
		return err
	}
	if _, err := m.b.put(ctx, store.Batch{Job: m.id, Lines: m.lines, Cites: m.cites, Heads: heads, Row: row}); err != nil {
		return err
	}
	m.b.feed.tell(Change{Job: m.id, What: "entry"})
	return nil
}

// readRecord reads record/entries.jsonl and record/heads.json of a folder.
func readRecord(folder *intake.Folder) ([]job.Line, *SignedHeads, error) {
	data, err := folder.Bytes("record/"+entriesFile, maxRecord)
	if err != nil {
		return nil, nil, err
	}
	var lines []job.Line
	for i, raw := range bytes.Split(bytes.TrimRight(data, "\n"), []byte("\n")) {
		e, err := job.ParseEntry(raw)
		if err != nil {
			return nil, nil, fmt.Errorf("record/%s, line %d: %w", entriesFile, i+1, err)
		}
		lines = append(lines, job.Line{Bytes: slices.Clone(raw), Entry: e, Order: int64(i + 1)})
	}
	heads, err := readHeads(folder)
	return lines, heads, err
}

// readHeads reads the signed heads; nil when there are none.
func readHeads(folder *intake.Folder) (*SignedHeads, error) {
	if !folder.Has("record/" + headsFile) {
		return nil, nil
	}
	data, err := folder.Bytes("record/"+headsFile, 1<<20)
	if err != nil {
		return nil, err
	}
	return parseHeads("record/"+headsFile, data)
}

func parseHeads(name string, data []byte) (*SignedHeads, error) {
	var h SignedHeads
	if err := json.Unmarshal(data, &h); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if h.Schema != HeadsSchema {
		return nil, fmt.Errorf("%s: schema is %q; this program reads %q", name, h.Schema, HeadsSchema)
	}
	return &h, nil
}

// ReadHeads reads a file of signed heads that was kept apart from the record.
func ReadHeads(path string) (*SignedHeads, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s: there is no such file; name a %s that was exported or printed before", path, headsFile)
	}
	if err != nil {
		return nil, err
	}
	return parseHeads(path, data)
}
