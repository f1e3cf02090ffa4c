package shop

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"time"

	"proveout/job"
	"proveout/store"
	"proveout/store/files"
)

// Names in the record/ of an exported job folder.
const (
	entriesFile = "entries.jsonl"
	headsFile   = "heads.json"
)

// HeadsSchema is the value of the "schema" field of heads.json.
const HeadsSchema = "proveout/heads/1"

// SignedHeads is record/heads.json: the ends of a job's chains, signed by the shop.
type SignedHeads struct {
	Schema  string             `json:"schema"`
	Shop    string             `json:"shop"`
	Job     string             `json:"job"`
	Entries int                `json:"entries"`
	Taken   string             `json:"taken"` // when it was exported
	Key     string             `json:"key"`   // the shop's public key, in hex
	Print   string             `json:"print"` // its short form, as on the report
	Heads   []store.SignedHead `json:"heads"`
}

// ExportOptions say what goes into a folder.
type ExportOptions struct {
	// Personal puts VIN, plate, customer and photographs in. Without it the folder can
	// be handed on.
	Personal bool
}

// Export writes a job as a job folder: job.yaml, captures/, record/. The folder
// must be new or empty.
func (b *Bench) Export(ctx context.Context, jobID, dir string, o ExportOptions) error {
	lines, heads, err := b.signedLines(ctx, jobID)
	if err != nil {
		return err
	}
	names, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if len(names) > 0 {
		return fmt.Errorf("%s is not empty; name a new folder", dir)
	}
	if err := os.MkdirAll(filepath.Join(dir, "record"), 0o755); err != nil {
		return err
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer root.Close()
	s := job.Fold(lines)
	text, err := b.exportText(ctx, s, o)
	if err != nil {
		return err
	}
	if err := root.WriteFile("job.yaml", text, 0o644); err != nil {
		return err
	}
	for i := range s.Items {
		if it := &s.Items[i]; it.Kind == "capture" {
			if err := b.exportCapture(root, it); err != nil {
				return err
			}
		}
	}
	if err := b.exportRuns(root, s); err != nil {
		return err
	}
	return errors.Join(b.exportRecord(root, jobID, lines, heads), files.SyncDir(dir))
}

// signedLines is the record of a job up to its signed heads. They are read first:
// what somebody writes in between waits for the next export.
func (b *Bench) signedLines(ctx context.Context, jobID string) ([]job.Line, []store.SignedHead, error) {
	heads, err := b.store.Heads(ctx, jobID)
	if err != nil {
		return nil, nil, err
	}
	lines, err := b.store.Entries(ctx, jobID, 0)
	if err != nil {
		return nil, nil, err
	}
	if len(heads) == 0 || len(lines) == 0 {
		return nil, nil, fmt.Errorf("job %s: %w", jobID, store.ErrNotFound)
	}
	last := map[string]int{}
	for _, h := range heads {
		last[h.Device] = h.Sequence
	}
	return slices.DeleteFunc(lines, func(l job.Line) bool { return l.Entry.Sequence > last[l.Entry.Device] }), heads, nil
}

// exportText is the job file. Suspects and tests of the shop go along: the folder
// answers like the workbench.
func (b *Bench) exportText(ctx context.Context, s *job.State, o ExportOptions) ([]byte, error) {
	in, err := b.basis(ctx, s)
	if err != nil {
		return nil, err
	}
	if o.Personal {
		return in.text, nil
	}
	shop, err := b.shopState(ctx)
	if err != nil {
		return nil, err
	}
	return s.Text(job.Private{Equipment: shop.Settings.Equipment}, shop), nil
}

func (b *Bench) exportCapture(root *os.Root, it *job.Item) error {
	in, err := b.store.OpenCapture(it.SHA256)
	if err != nil {
		return fmt.Errorf("item %d: %w", it.Number, err)
	}
	defer in.Close()
	if err := root.MkdirAll(filepath.ToSlash(filepath.Dir(it.File)), 0o755); err != nil {
		return err
	}
	out, err := root.OpenFile(it.File, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Sync(), out.Close())
}

// fileID is an id that can stand in a file's name.
var fileID = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]{0,80}$`)

// exportRuns writes the runs' own records the way "procedure run" keeps them.
func (b *Bench) exportRuns(root *os.Root, s *job.State) error {
	count := map[string]int{}
	for i := range s.Runs {
		r := &s.Runs[i]
		if !fileID.MatchString(r.Procedure) {
			continue // its lines are in the entries as well
		}
		count[r.Procedure]++
		var buf bytes.Buffer
		for _, l := range r.Lines {
			buf.WriteString(l.Line)
			buf.WriteByte('\n')
		}
		name := fmt.Sprintf("record/procedure-%s-%03d.jsonl", r.Procedure, count[r.Procedure])
		if err := root.WriteFile(name, buf.Bytes(), 0o644); err != nil {
			return err
		}
	}
	return nil
}

func (b *Bench) exportRecord(root *os.Root, jobID string, lines []job.Line, heads []store.SignedHead) error {
	var buf bytes.Buffer
	for i := range lines {
		buf.Write(lines[i].Bytes)
		buf.WriteByte('\n')
	}
	if err := root.WriteFile("record/"+entriesFile, buf.Bytes(), 0o644); err != nil {
		return err
	}
	// The heads as they were signed when the entries were written: signing anew here
	// would vouch for whatever the database says now.
	h := SignedHeads{Schema: HeadsSchema, Shop: lines[0].Entry.Shop, Job: jobID, Entries: len(lines), Taken: b.o.Clock().Format(time.RFC3339), Heads: heads}
	h.Key = heads[0].Key
	h.Print = fingerprint(h.Key)
	data, err := json.MarshalIndent(h, "", "  ")
	if err != nil {
		return err
	}
	return root.WriteFile("record/"+headsFile, append(data, '\n'), 0o644)
}
