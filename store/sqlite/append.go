package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"proveout/job"
	"proveout/store"
)

// Append writes a batch.
func (s *Store) Append(ctx context.Context, b store.Batch) ([]int64, error) {
	if s.opts.ReadOnly {
		return nil, store.ErrReadOnly
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.dead != nil {
		return nil, s.dead
	}
	for _, sha := range b.Cites {
		if _, ok := s.Has(sha); !ok {
			return nil, fmt.Errorf("capture %s: %w", sha, store.ErrNoCapture)
		}
	}
	orders, err := s.append(ctx, b)
	if errors.Is(err, store.ErrFull) && b.Urgent && s.reserve.release() {
		if orders, err = s.append(ctx, b); err == nil {
			return orders, nil // the reserve is made anew when there is room
		}
	}
	if err == nil {
		_ = s.reserve.keep() // costs one stat when it is there
	}
	return orders, err
}

func (s *Store) append(ctx context.Context, b store.Batch) ([]int64, error) {
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return nil, s.explain(err)
	}
	defer tx.Rollback()
	orders, err := s.inTx(ctx, tx, b)
	if err != nil {
		return nil, s.explain(err)
	}
	if err := tx.Commit(); err != nil {
		err = s.explain(err)
		if code, ok := s.driver.code(err); ok && code&0xff == codeIOErr && !errors.Is(err, store.ErrFull) {
			// After a failed sync nobody knows what the disk holds: a later success
			// would prove nothing about the writes before it.
			s.dead = fmt.Errorf("writing to disk failed, the store takes no more until the program is started anew: %w", err)
		}
		return nil, err
	}
	return orders, nil
}

func (s *Store) inTx(ctx context.Context, tx *sql.Tx, b store.Batch) ([]int64, error) {
	if err := checkKey(ctx, tx, b.Receipt); err != nil {
		return nil, err
	}
	orders, err := appendLines(ctx, tx, b)
	if err != nil {
		return nil, err
	}
	var last int64
	if n := len(orders); n > 0 {
		last = orders[n-1]
	}
	for _, sha := range b.Cites {
		if _, err := tx.ExecContext(ctx, "INSERT INTO cited (sha, job) VALUES (?1, ?2) ON CONFLICT DO NOTHING", sha, b.Job); err != nil {
			return nil, err
		}
	}
	for _, h := range b.Heads {
		_, err := tx.ExecContext(ctx, `INSERT INTO heads (job, device, seq, digest, key, signature) VALUES (?1, ?2, ?3, ?4, ?5, ?6)
			ON CONFLICT (job, device) DO UPDATE SET seq = ?3, digest = ?4, key = ?5, signature = ?6`, b.Job, h.Device, h.Sequence, h.Digest, h.Key, h.Signature)
		if err != nil {
			return nil, err
		}
	}
	if b.Row.Job != "" {
		if err := putRow(ctx, tx, b.Row, last); err != nil {
			return nil, err
		}
	}
	if r := b.Receipt; r != nil {
		_, err := tx.ExecContext(ctx, "INSERT INTO receipts (key, device, n, body, ord, job, answer) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
			r.Key, r.Device, r.N, r.Body, last, b.Job, r.Answer)
		if err != nil {
			return nil, err
		}
	}
	return orders, nil
}

func checkKey(ctx context.Context, tx *sql.Tx, r *store.Receipt) error {
	if r == nil {
		return nil
	}
	var n int
	if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM receipts WHERE key = ?1", r.Key).Scan(&n); err != nil {
		return err
	}
	if n > 0 {
		return fmt.Errorf("key %q: %w", r.Key, store.ErrKeyUsed)
	}
	return nil
}

// appendLines writes the lines after checking that each carries on its chain.
func appendLines(ctx context.Context, tx *sql.Tx, b store.Batch) ([]int64, error) {
	heads := map[string]job.Head{}
	orders := make([]int64, 0, len(b.Lines))
	for i, line := range b.Lines {
		e, err := job.ParseEntry(line)
		if err != nil {
			return nil, fmt.Errorf("entry %d: %w", i+1, err)
		}
		if e.Job != b.Job {
			return nil, fmt.Errorf("entry %s is of job %s, not %s: %w", e.ID, e.Job, b.Job, store.ErrChain)
		}
		head, known := heads[e.Device]
		if !known {
			if head, err = headOf(ctx, tx, b.Job, e.Device); err != nil {
				return nil, err
			}
		}
		if e.Sequence != head.Sequence+1 || e.Previous != head.Digest {
			return nil, fmt.Errorf("entry %s of device %s is number %d after %q, the chain stands at %d, %q: %w",
				e.ID, e.Device, e.Sequence, e.Previous, head.Sequence, head.Digest, store.ErrChain)
		}
		var twice int
		if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM entries WHERE id = ?1", e.ID).Scan(&twice); err != nil {
			return nil, err
		}
		if twice > 0 {
			return nil, fmt.Errorf("an entry %s is there already: %w", e.ID, store.ErrChain)
		}
		digest := job.Digest(line)
		res, err := tx.ExecContext(ctx, "INSERT INTO entries (id, job, device, seq, digest, line) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
			e.ID, e.Job, e.Device, e.Sequence, digest, line)
		if err != nil {
			return nil, err
		}
		ord, err := res.LastInsertId()
		if err != nil {
			return nil, err
		}
		orders = append(orders, ord)
		heads[e.Device] = job.Head{Sequence: e.Sequence, Digest: digest}
	}
	return orders, nil
}

func headOf(ctx context.Context, tx *sql.Tx, jobID, device string) (job.Head, error) {
	var h job.Head
	err := tx.QueryRowContext(ctx, "SELECT seq, digest FROM entries WHERE job = ?1 AND device = ?2 ORDER BY seq DESC LIMIT 1", jobID, device).
		Scan(&h.Sequence, &h.Digest)
	if errors.Is(err, sql.ErrNoRows) {
		return job.Head{}, nil
	}
	return h, err
}
