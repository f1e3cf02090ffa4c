package shop

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"maps"
	"slices"

	"proveout/intake"
	"proveout/job"
	"proveout/store"
)

// Verified is what a check of a folder or a store came to.
type Verified struct {
	What     string          `json:"what"` // folder or store
	Entries  int             `json:"entries,omitempty"`
	Captures int             `json:"captures,omitempty"`
	Print    string          `json:"signed_by,omitempty"` // short form of the key the heads are signed with
	Found    []store.Finding `json:"found"`
	Notes    []string        `json:"notes"`
}

// VerifyOptions say what to hold the record against.
type VerifyOptions struct {
	Heads *SignedHeads // kept apart from the record; nil: none
	Keys  []string     // the shop's public keys in hex, or in short form as printed; none: not known
	Tell  func(done, total int)
}

// VerifyFolder checks a job folder with a record: the chains, the signed heads,
// and that every capture is the one the record cites.
func VerifyFolder(dir string, o VerifyOptions) (*Verified, error) {
	folder, err := intake.OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	lines, heads, err := readRecord(folder)
	if err != nil {
		return nil, err
	}
	v := &Verified{What: "folder", Entries: len(lines), Notes: []string{}, Found: verifyFolder(lines, heads, o.Heads, o.Keys)}
	switch {
	case heads == nil && o.Heads == nil:
		v.Notes = append(v.Notes, "there is no "+headsFile+": a record hashed anew from its first entry on cannot be told")
	case heads != nil && len(o.Keys) == 0 && o.Heads == nil:
		v.Notes = append(v.Notes, "the heads are signed with the key "+fingerprint(heads.Key)+"; compare it with the one noted down when it was exported (or give --key), since whoever wrote the record anew could have signed with another")
	}
	if heads != nil {
		v.Print = fingerprint(heads.Key)
	}
	state := job.Fold(lines)
	for i := range state.Items {
		it := &state.Items[i]
		if it.Kind != "capture" {
			continue
		}
		v.Captures++
		sha, err := hashIn(folder, it.File)
		switch {
		case err != nil:
			v.Found = append(v.Found, store.Finding{Where: it.File, Text: err.Error()})
		case sha != it.SHA256:
			v.Found = append(v.Found, store.Finding{Where: it.File, Text: fmt.Sprintf("it has the hash %s, the record cites %s as item %d: it was changed", sha, it.SHA256, it.Number)})
		}
	}
	return v, nil
}

func hashIn(folder *intake.Folder, name string) (string, error) {
	in, err := folder.Open(name)
	if err != nil {
		return "", err
	}
	defer in.Close()
	h := sha256.New()
	if _, err := io.Copy(h, in); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// verifyFolder holds a record against itself, against the signed heads beside it,
// and against heads kept apart.
func verifyFolder(lines []job.Line, beside, apart *SignedHeads, keys []string) []store.Finding {
	raw := make([][]byte, len(lines))
	for i := range lines {
		raw[i] = lines[i].Bytes
	}
	out := []store.Finding{}
	add := func(ps []job.Problem) {
		for _, p := range ps {
			out = append(out, store.Finding{Where: fmt.Sprintf("record, entry %d", p.Line), Text: p.Text})
		}
	}
	add(job.VerifyRecord(raw, nil))
	for i := range lines {
		if lines[i].Entry.Job != lines[0].Entry.Job {
			out = append(out, store.Finding{Where: fmt.Sprintf("record, entry %d", i+1), Text: "it is of another job"})
		}
	}
	for _, h := range []*SignedHeads{beside, apart} {
		if h == nil {
			continue
		}
		known := map[string]job.Head{}
		for _, s := range h.Heads {
			if err := checkHead(h.Job, s, keys); err != nil {
				out = append(out, store.Finding{Where: "signed head of device " + s.Device, Text: err.Error()})
			}
			known[s.Device] = s.Head
		}
		if len(lines) > 0 && h.Job != lines[0].Entry.Job {
			out = append(out, store.Finding{Where: headsFile, Text: fmt.Sprintf("it is of job %s, the record of job %s", h.Job, lines[0].Entry.Job)})
			continue
		}
		add(job.VerifyHeads(raw, known))
		if h != beside {
			continue
		}
		// Beside the record the heads are its ends: what is after them was added.
		for _, d := range slices.Sorted(maps.Keys(job.HeadsOf(lines))) {
			if end := job.HeadsOf(lines)[d]; known[d] != end {
				out = append(out, store.Finding{Where: "device " + d, Text: fmt.Sprintf("its chain ends at entry %d, the signed head is entry %d: entries were added or taken away", end.Sequence, known[d].Sequence)})
			}
		}
	}
	return out
}

// VerifyStore checks a whole store.
func VerifyStore(ctx context.Context, s store.Store, o VerifyOptions) (*Verified, error) {
	keys := o.Keys
	if len(keys) == 0 {
		var err error
		if keys, err = PublicKeys(s.Path()); err != nil {
			return nil, err
		}
	}
	v := &Verified{What: "store", Found: []store.Finding{}, Notes: []string{}}
	if len(keys) > 0 {
		v.Print = shortKey(keys[len(keys)-1])
	}
	check := store.Verification{Tell: o.Tell, Heads: map[string]job.Head{}, Signed: func(jobID string, h store.SignedHead) error {
		return checkHead(jobID, h, keys)
	}}
	if h := o.Heads; h != nil {
		for _, s := range h.Heads {
			if err := checkHead(h.Job, s, keys); err != nil {
				v.Found = append(v.Found, store.Finding{Where: "signed head of device " + s.Device, Text: err.Error()})
			}
			check.Heads[h.Job+"/"+s.Device] = s.Head
		}
	}
	if len(o.Keys) == 0 && o.Heads == nil {
		v.Notes = append(v.Notes, "held against the shop's own key ("+v.Print+"); compare it with one noted down apart from it (or give --key), since whoever can write the whole folder can change both")
	}
	found, err := s.Verify(ctx, check)
	v.Found = append(v.Found, found...)
	return v, err
}
