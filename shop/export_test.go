package shop

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"proveout/job"
	"proveout/store"
)

// Every example folder, taken in, comes to the same odds as in the folder.
func TestImportedFoldersAnswerAlike(t *testing.T) {
	dirs, err := filepath.Glob("testdata/jobs/*/job.yaml")
	if err != nil {
		t.Fatal(err)
	}
	examples, err := filepath.Glob("../examples/*/job.yaml")
	if err != nil || len(dirs)+len(examples) < 12 {
		t.Fatalf("%d folders found, %v", len(dirs)+len(examples), err)
	}
	if testing.Short() {
		examples = examples[:2]
	}
	for _, path := range append(dirs, examples...) {
		dir := filepath.Dir(path)
		t.Run(filepath.Base(dir), func(t *testing.T) {
			b := newTestBench(t)
			in, err := b.Import(t.Context(), dir, "ines")
			if err != nil {
				t.Fatal(err)
			}
			if in.Record || in.Entries == 0 || len(in.LeftOut) > 0 {
				t.Errorf("imported as %+v", in)
			}
			here, err := b.Answer(t.Context(), in.Job)
			if err != nil {
				t.Fatal(err)
			}
			there, err := Diagnose(dir, Options{Program: "test"})
			if err != nil {
				t.Fatal(err)
			}
			sameOdds(t, here, there)
		})
	}
}

// sameOdds compares all that does not depend on line numbers.
func sameOdds(t *testing.T, a, b *Answer) {
	t.Helper()
	brief := func(x *Answer) string {
		var out []string
		for _, s := range x.Suspects {
			out = append(out, fmt.Sprintf("%s %v %s %s %s", s.ID, s.Chance, s.State, s.By, s.Overruled))
		}
		for _, f := range x.Findings {
			out = append(out, fmt.Sprintf("%s %d %s %s", f.ID, f.Item, f.State, f.Sentence))
		}
		for _, n := range x.Next {
			out = append(out, n.Test+" "+fmt.Sprint(n.Subject, n.Minutes))
		}
		out = append(out, x.Headline, x.Stop, fmt.Sprint(x.Complaint, x.Vehicle, x.Books, len(x.LeftOut), len(x.Items), len(x.Conflicts)))
		return strings.Join(out, "\n")
	}
	if x, y := brief(a), brief(b); x != y {
		xs, ys := strings.Split(x, "\n"), strings.Split(y, "\n")
		for i := range min(len(xs), len(ys)) {
			if xs[i] != ys[i] {
				t.Fatalf("the workbench says\n%s\nthe folder says\n%s", xs[i], ys[i])
			}
		}
		t.Fatalf("%d lines against %d", len(xs), len(ys))
	}
}

// exported makes a job with a bit of everything and writes it to a folder.
func exported(t *testing.T) (b *Bench, id, dir string) {
	t.Helper()
	b = newTestBench(t)
	in, err := b.Import(t.Context(), "testdata/jobs/lobe", "ines")
	if err != nil {
		t.Fatal(err)
	}
	id = in.Job
	sha, size, _, err := b.store.Put(t.Context(), strings.NewReader("time,volts\n0,1\n0.1,2\n"))
	if err != nil {
		t.Fatal(err)
	}
	for i, name := range []string{"scope.csv", "scope.csv", "../../evil.csv"} {
		mustWrite(t, b, id, cmd(fmt.Sprint("cap", i), job.CaptureAddedType, job.CaptureAdded{SHA256: sha, Size: size, Name: name}))
	}
	mustWrite(t, b, id, cmd("note", job.NoteType, job.Note{Text: "<script>alert(1)</script> & ä"}))
	phone := cmd("p1", job.PartOrderedType, job.PartUsed{Name: "camshaft"})
	phone.Device = "phone"
	mustWrite(t, b, id, phone)
	dir = filepath.Join(t.TempDir(), "out")
	if err := b.Export(t.Context(), id, dir, ExportOptions{}); err != nil {
		t.Fatal(err)
	}
	return b, id, dir
}

// A job exported and imported has the same entries, byte for byte, and the same
// answer; so has the exported folder by itself.
func TestExportedAndImportedIsTheSame(t *testing.T) {
	b, id, dir := exported(t)
	other := newTestBench(t)
	in, err := other.Import(t.Context(), dir, "ines")
	if err != nil {
		t.Fatal(err)
	}
	if !in.Record || in.Job != id || in.Captures != 3 {
		t.Errorf("imported as %+v", in)
	}
	before, err := b.store.Entries(t.Context(), id, 0)
	if err != nil {
		t.Fatal(err)
	}
	after, err := other.store.Entries(t.Context(), id, 0)
	// Both benches may have written a conclusion since.
	if err != nil || len(before) < in.Entries || len(after) < in.Entries || in.Entries < 10 {
		t.Fatalf("%d entries went out, %d came in (%v)", len(before), len(after), err)
	}
	for i := range in.Entries {
		if !bytes.Equal(before[i].Bytes, after[i].Bytes) {
			t.Errorf("entry %d differs", i+1)
		}
	}
	x, err := b.Answer(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	y, err := other.Answer(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	sameOdds(t, x, y)
	z, err := Diagnose(dir, Options{Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	sameOdds(t, x, z)
	if _, err := other.Import(t.Context(), dir, "ines"); err == nil {
		t.Error("the same job was imported twice")
	}
	for _, path := range []string{dir, other.store.Path()} {
		var v *Verified
		if path == dir {
			v, err = VerifyFolder(dir, VerifyOptions{})
		} else {
			v, err = VerifyStore(t.Context(), other.store, VerifyOptions{})
		}
		if err != nil || len(v.Found) > 0 {
			t.Errorf("%s: %+v, %v", path, v, err)
		}
	}
}

func TestExportStaysInItsFolder(t *testing.T) {
	_, _, dir := exported(t)
	var names []string
	err := filepath.WalkDir(filepath.Dir(dir), func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(dir, path)
			names = append(names, filepath.ToSlash(rel))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"captures/evil.csv", "captures/item6-scope.csv", "captures/scope.csv", "job.yaml", "record/entries.jsonl", "record/heads.json"}
	slices.Sort(names)
	if len(names) != len(want) || names[0] != want[0] || slices.ContainsFunc(names, func(n string) bool { return strings.HasPrefix(n, "..") }) {
		t.Errorf("written: %v", names)
	}
}

// What is done to a record is found, whoever does it how.
func TestVerifyFindsWhatWasDone(t *testing.T) {
	b, _, dir := exported(t)
	kept, err := ReadHeads(filepath.Join(dir, "record", headsFile))
	if err != nil {
		t.Fatal(err)
	}
	keys, err := PublicKeys(b.store.Path())
	if err != nil || len(keys) != 1 {
		t.Fatal(keys, err)
	}
	key := keys[0]
	record := filepath.Join(dir, "record", entriesFile)
	sound, err := os.ReadFile(record)
	if err != nil {
		t.Fatal(err)
	}
	headsPath := filepath.Join(dir, "record", headsFile)
	soundHeads, err := os.ReadFile(headsPath)
	if err != nil {
		t.Fatal(err)
	}
	forger := forgerKey(t)
	for name, c := range map[string]struct {
		record func([]byte) []byte
		heads  func([]byte, []byte) []byte
		o      VerifyOptions
		sound  bool
	}{
		"nothing":                               {sound: true},
		"nothing, with the key":                 {o: VerifyOptions{Keys: keys}, sound: true},
		"nothing, with the printed key":         {o: VerifyOptions{Keys: []string{fingerprint(key)}}, sound: true},
		"a letter changed":                      {record: func(b []byte) []byte { return bytes.Replace(b, []byte("camshaft"), []byte("camshift"), 1) }},
		"an entry taken out":                    {record: func(b []byte) []byte { return without(b, 2) }},
		"the last entry taken away":             {record: func(b []byte) []byte { return without(b, bytes.Count(b, []byte("\n"))-1) }},
		"hashed anew":                           {record: rehashed},
		"hashed anew, without heads":            {record: rehashed, heads: func(_, _ []byte) []byte { return nil }, o: VerifyOptions{Heads: kept}},
		"hashed anew and signed by another":     {record: rehashed, heads: forger, o: VerifyOptions{Keys: keys}},
		"signed by another, the printed key":    {record: rehashed, heads: forger, o: VerifyOptions{Keys: []string{fingerprint(key)}}},
		"signed by another, against kept heads": {record: rehashed, heads: forger, o: VerifyOptions{Heads: kept}},
		"a head changed":                        {heads: func(h, _ []byte) []byte { return bytes.Replace(h, []byte(`"sequence": 1`), []byte(`"sequence": 2`), 1) }},
	} {
		t.Run(name, func(t *testing.T) {
			r, h := slices.Clone(sound), slices.Clone(soundHeads)
			if c.record != nil {
				r = c.record(r)
			}
			if c.heads != nil {
				h = c.heads(h, r)
			}
			if err := os.WriteFile(record, r, 0o644); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(headsPath, h, 0o644); err != nil {
				t.Fatal(err)
			}
			if h == nil {
				if err := os.Remove(headsPath); err != nil {
					t.Fatal(err)
				}
			}
			v, err := VerifyFolder(dir, c.o)
			if err != nil {
				t.Fatal(err)
			}
			if c.sound != (len(v.Found) == 0) {
				t.Errorf("found %+v", v.Found)
			}
		})
	}
}

func without(b []byte, line int) []byte {
	lines := bytes.SplitAfter(b, []byte("\n"))
	return bytes.Join(slices.Delete(lines, line, line+1), nil)
}

// rehashed changes an entry and hashes every chain anew, so that it fits together.
func rehashed(b []byte) []byte {
	b = bytes.Replace(b, []byte("camshaft"), []byte("cylinder head"), 1)
	heads := map[string]string{}
	var out []byte
	for line := range bytes.SplitSeq(bytes.TrimSpace(b), []byte("\n")) {
		var e job.Entry
		if err := json.Unmarshal(line, &e); err != nil {
			panic(err)
		}
		e.Previous = heads[e.Device]
		line, err := json.Marshal(e)
		if err != nil {
			panic(err)
		}
		heads[e.Device] = job.Digest(line)
		out = append(append(out, line...), '\n')
	}
	return out
}

// forgerKey signs the heads of whatever record it is given with a key of its own.
func forgerKey(t *testing.T) func(heads, record []byte) []byte {
	t.Helper()
	key, err := LoadShopKey(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	return func(heads, record []byte) []byte {
		h, err := parseHeads("heads", heads)
		if err != nil {
			t.Fatal(err)
		}
		ends := map[string]job.Head{}
		for line := range bytes.SplitSeq(bytes.TrimSpace(record), []byte("\n")) {
			e, err := job.ParseEntry(line)
			if err != nil {
				t.Fatal(err)
			}
			ends[e.Device] = job.Head{Sequence: e.Sequence, Digest: job.Digest(line)}
		}
		h.Key, h.Heads = key.Public(), nil
		for d, end := range ends {
			h.Heads = append(h.Heads, key.sign(h.Job, d, end))
		}
		out, err := json.Marshal(h)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
}

// A capture changed in the folder is named, and the folder is not taken in.
func TestChangedCaptureIsNotImported(t *testing.T) {
	_, _, dir := exported(t)
	if err := os.WriteFile(filepath.Join(dir, "captures", "scope.csv"), []byte("time,volts\n0,9\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	v, err := VerifyFolder(dir, VerifyOptions{})
	if err != nil || len(v.Found) != 1 || v.Found[0].Where != "captures/scope.csv" {
		t.Errorf("found %+v, %v", v, err)
	}
	other := newTestBench(t)
	if _, err := other.Import(t.Context(), dir, "ines"); err == nil || !strings.Contains(err.Error(), "scope.csv") {
		t.Errorf("import says %v", err)
	}
	if rows, err := other.store.Rows(t.Context(), store.RowQuery{}); err != nil || len(rows) != 0 {
		t.Errorf("something was imported: %v, %v", rows, err)
	}
}
