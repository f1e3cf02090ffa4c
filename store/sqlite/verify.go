package sqlite

import (
	"context"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"proveout/job"
	"proveout/store"
	"proveout/store/files"
)

// Verify goes through the whole store: the pages of the database, the chains of
// every job and their signed ends, the hash of every capture, and that every
// capture that is cited is there.
func (s *Store) Verify(ctx context.Context, v store.Verification) ([]store.Finding, error) {
	var out []store.Finding
	add := func(where, format string, args ...any) {
		out = append(out, store.Finding{Where: where, Text: fmt.Sprintf(format, args...)})
	}
	if err := s.pages(ctx, add); err != nil {
		return out, err
	}
	jobs, err := s.strings(ctx, "SELECT job FROM entries UNION SELECT job FROM heads ORDER BY job")
	if err != nil {
		return out, err
	}
	byJob := headsByJob(v.Heads)
	for id := range byJob {
		if !slices.Contains(jobs, id) {
			add("job "+id, "a signed head names it and no entry of it is here: the whole job was taken away")
		}
	}
	for i, id := range jobs {
		if v.Tell != nil && i%100 == 0 {
			v.Tell(i, len(jobs))
		}
		if err := s.verifyJob(ctx, id, byJob[id], v.Signed, add); err != nil {
			return out, err
		}
	}
	err = s.Each(func(sha, path string) error {
		if have, err := files.HashFile(path); err != nil {
			add("capture "+sha, "%s cannot be read: %v; copy it from the last backup", path, err)
		} else if have != sha {
			add("capture "+sha, "%s is damaged: its bytes have the hash %s; copy it from the last backup", path, have)
		}
		return ctx.Err()
	})
	if err != nil {
		return out, err
	}
	cited, err := s.strings(ctx, "SELECT DISTINCT sha FROM cited ORDER BY sha")
	if err != nil {
		return out, err
	}
	for _, sha := range cited {
		if _, ok := s.Has(sha); !ok {
			add("capture "+sha, "an entry cites it and it is not there; copy it from the last backup")
		}
	}
	return out, nil
}

func (s *Store) pages(ctx context.Context, add func(where, format string, args ...any)) error {
	lines, err := s.strings(ctx, "PRAGMA integrity_check(20)")
	if err != nil {
		return err
	}
	for _, l := range lines {
		if l != "ok" {
			add(filepath.Join(s.dir, database), "%s", l)
		}
	}
	return nil
}

func (s *Store) verifyJob(ctx context.Context, id string, heads map[string]job.Head, signed func(string, store.SignedHead) error, add func(where, format string, args ...any)) error {
	rows, err := s.read.QueryContext(ctx, "SELECT digest, line FROM entries WHERE job = ?1 ORDER BY ord", id)
	if err != nil {
		return s.explain(err)
	}
	defer rows.Close()
	var lines [][]byte
	for rows.Next() {
		var digest string
		var line []byte
		if err := rows.Scan(&digest, &line); err != nil {
			return s.explain(err)
		}
		lines = append(lines, line)
		if have := job.Digest(line); have != digest {
			add(fmt.Sprintf("job %s, entry %d", id, len(lines)), "its bytes have the hash %s, stored beside them is %s: changed after it was written", have, digest)
		}
	}
	if err := rows.Err(); err != nil {
		return s.explain(err)
	}
	for _, p := range append(job.VerifyRecord(lines, nil), job.VerifyHeads(lines, heads)...) {
		add(fmt.Sprintf("job %s, entry %d", id, p.Line), "%s", p.Text)
	}
	if signed == nil {
		return nil
	}
	return s.verifySigned(ctx, id, lines, signed, add)
}

// verifySigned holds that every chain ends with the head the shop signed.
func (s *Store) verifySigned(ctx context.Context, id string, lines [][]byte, signed func(string, store.SignedHead) error, add func(where, format string, args ...any)) error {
	ends := map[string]job.Head{}
	for _, line := range lines {
		if e, err := job.ParseEntry(line); err == nil {
			ends[e.Device] = job.Head{Sequence: e.Sequence, Digest: job.Digest(line)}
		}
	}
	heads, err := s.Heads(ctx, id)
	if err != nil {
		return err
	}
	for _, h := range heads {
		where := fmt.Sprintf("job %s, device %s", id, h.Device)
		end, ok := ends[h.Device]
		delete(ends, h.Device)
		switch err := signed(id, h); {
		case err != nil:
			add(where, "the signed head at entry %d: %v", h.Sequence, err)
		case !ok:
			add(where, "there is a signed head at entry %d and no entry: its chain was taken away", h.Sequence)
		case end != h.Head:
			add(where, "its chain ends at entry %d (%.12s), the signed head is entry %d (%.12s): entries were added, taken away or hashed anew", end.Sequence, end.Digest, h.Sequence, h.Digest)
		}
	}
	for _, device := range slices.Sorted(maps.Keys(ends)) {
		add(fmt.Sprintf("job %s, device %s", id, device), "its chain has no signed head: it was written past the workbench")
	}
	return nil
}

// headsByJob sorts heads named "job/device" by job.
func headsByJob(heads map[string]job.Head) map[string]map[string]job.Head {
	out := map[string]map[string]job.Head{}
	for key, h := range heads {
		id, device, _ := strings.Cut(key, "/")
		if out[id] == nil {
			out[id] = map[string]job.Head{}
		}
		out[id][device] = h
	}
	return out
}

// strings reads a query of one column of text.
func (s *Store) strings(ctx context.Context, query string) ([]string, error) {
	rows, err := s.read.QueryContext(ctx, query)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var v string
		if err := rows.Scan(&v); err != nil {
			return nil, s.explain(err)
		}
		out = append(out, v)
	}
	return out, s.explain(rows.Err())
}
