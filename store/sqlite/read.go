package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"proveout/job"
	"proveout/store"
)

// Entries gives a job's entries after an order.
func (s *Store) Entries(ctx context.Context, jobID string, after int64) ([]job.Line, error) {
	rows, err := s.read.QueryContext(ctx, "SELECT ord, line FROM entries WHERE job = ?1 AND ord > ?2 ORDER BY ord", jobID, after)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []job.Line
	for rows.Next() {
		var l job.Line
		if err := rows.Scan(&l.Order, &l.Bytes); err != nil {
			return nil, s.explain(err)
		}
		if l.Entry, err = job.ParseEntry(l.Bytes); err != nil {
			return nil, &store.Damaged{File: s.dir + "/" + database, Why: fmt.Errorf("entry %d of job %s: %w", l.Order, jobID, err)}
		}
		out = append(out, l)
	}
	return out, s.explain(rows.Err())
}

// Receipt gives the answer to a command.
func (s *Store) Receipt(ctx context.Context, key string) (store.Receipt, error) {
	r := store.Receipt{Key: key}
	err := s.read.QueryRowContext(ctx, "SELECT device, n, body, ord, job, answer FROM receipts WHERE key = ?1", key).
		Scan(&r.Device, &r.N, &r.Body, &r.Order, &r.Job, &r.Answer)
	return r, s.missing(err, "command "+key)
}

// Heads gives the signed ends of a job's chains.
func (s *Store) Heads(ctx context.Context, jobID string) ([]store.SignedHead, error) {
	rows, err := s.read.QueryContext(ctx, "SELECT device, seq, digest, key, signature FROM heads WHERE job = ?1 ORDER BY device", jobID)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []store.SignedHead
	for rows.Next() {
		var h store.SignedHead
		if err := rows.Scan(&h.Device, &h.Sequence, &h.Digest, &h.Key, &h.Signature); err != nil {
			return nil, s.explain(err)
		}
		out = append(out, h)
	}
	return out, s.explain(rows.Err())
}

// LastN is the highest counter of a device.
func (s *Store) LastN(ctx context.Context, device string) (int64, error) {
	var n sql.NullInt64
	err := s.read.QueryRowContext(ctx, "SELECT max(n) FROM receipts WHERE device = ?1", device).Scan(&n)
	return n.Int64, s.explain(err)
}

// missing turns "no rows" into ErrNotFound.
func (s *Store) missing(err error, what string) error {
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("%s: %w", what, store.ErrNotFound)
	}
	return s.explain(err)
}

// noPromise sorts a row without a promised time behind all others.
const noPromise = 9_000_000_000_000_000

func putRow(ctx context.Context, tx *sql.Tx, r store.Row, order int64) error {
	promised := int64(noPromise)
	if !r.Promised.IsZero() {
		promised = r.Promised.UnixMilli()
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO rows (job, open, dangerous, practice, promised, ord, body) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
		ON CONFLICT (job) DO UPDATE SET open = ?2, dangerous = ?3, practice = ?4, promised = ?5, ord = max(ord, ?6), body = ?7`,
		r.Job, r.Open, r.Dangerous, r.Practice, promised, order, r.Body)
	return err
}

const rowColumns = "job, open, dangerous, practice, promised, ord, body"

func scanRow(scan func(...any) error) (store.Row, error) {
	var r store.Row
	var promised int64
	err := scan(&r.Job, &r.Open, &r.Dangerous, &r.Practice, &promised, &r.Order, &r.Body)
	if err == nil && promised != noPromise {
		r.Promised = time.UnixMilli(promised)
	}
	return r, err
}

// Rows lists rows of the board.
func (s *Store) Rows(ctx context.Context, q store.RowQuery) ([]store.Row, error) {
	if q.Limit <= 0 {
		q.Limit = 500
	}
	if q.Before <= 0 {
		q.Before = 1 << 62
	}
	query := "SELECT " + rowColumns + " FROM rows WHERE ord < ?1 ORDER BY ord DESC LIMIT ?2"
	if q.Open {
		query = "SELECT " + rowColumns + " FROM rows WHERE open = 1 AND ord < ?1 ORDER BY dangerous DESC, promised, ord DESC LIMIT ?2"
	}
	rows, err := s.read.QueryContext(ctx, query, q.Before, q.Limit)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []store.Row
	for rows.Next() {
		r, err := scanRow(rows.Scan)
		if err != nil {
			return nil, s.explain(err)
		}
		out = append(out, r)
	}
	return out, s.explain(rows.Err())
}

// Row gives one row of the board.
func (s *Store) Row(ctx context.Context, jobID string) (store.Row, error) {
	r, err := scanRow(s.read.QueryRowContext(ctx, "SELECT "+rowColumns+" FROM rows WHERE job = ?1", jobID).Scan)
	return r, s.missing(err, "job "+jobID)
}
