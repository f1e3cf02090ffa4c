package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"proveout/store"
)

// PutPersonal keeps personal data under the customer's key.
func (s *Store) PutPersonal(ctx context.Context, customer, name string, plain []byte) error {
	if s.opts.ReadOnly {
		return store.ErrReadOnly
	}
	s.mu.Lock() // sealing and erasing must not cross
	defer s.mu.Unlock()
	if err := s.erased(ctx, customer); err != nil {
		return err
	}
	sealed, err := s.Seal(customer, name, plain)
	if err != nil {
		return err
	}
	return s.inWrite(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "INSERT INTO customers (customer, erased) VALUES (?1, 0) ON CONFLICT DO NOTHING", customer); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "INSERT INTO personal (customer, name, sealed) VALUES (?1, ?2, ?3) ON CONFLICT (customer, name) DO UPDATE SET sealed = ?3", customer, name, sealed)
		return err
	})
}

// inWrite runs f in a transaction; the caller holds mu.
func (s *Store) inWrite(ctx context.Context, f func(*sql.Tx) error) error {
	if s.dead != nil {
		return s.dead
	}
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return s.explain(err)
	}
	defer tx.Rollback()
	if err := f(tx); err != nil {
		return s.explain(err)
	}
	return s.explain(tx.Commit())
}

func (s *Store) erased(ctx context.Context, customer string) error {
	var gone bool
	err := s.read.QueryRowContext(ctx, "SELECT erased FROM customers WHERE customer = ?1", customer).Scan(&gone)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil
	case err == nil && gone:
		return store.ErrErased
	}
	return s.explain(err)
}

// Personal gives personal data back.
func (s *Store) Personal(ctx context.Context, customer, name string) ([]byte, error) {
	if err := s.erased(ctx, customer); err != nil {
		return nil, err
	}
	var sealed []byte
	err := s.read.QueryRowContext(ctx, "SELECT sealed FROM personal WHERE customer = ?1 AND name = ?2", customer, name).Scan(&sealed)
	if err != nil {
		return nil, s.missing(err, name+" of customer "+customer)
	}
	return s.Unseal(customer, name, sealed)
}

// PersonalNames lists what is kept of a customer.
func (s *Store) PersonalNames(ctx context.Context, customer string) ([]string, error) {
	if err := s.erased(ctx, customer); err != nil {
		return nil, err
	}
	rows, err := s.read.QueryContext(ctx, "SELECT name FROM personal WHERE customer = ?1 ORDER BY name", customer)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var n string
		if err := rows.Scan(&n); err != nil {
			return nil, s.explain(err)
		}
		out = append(out, n)
	}
	return out, s.explain(rows.Err())
}

// Erase destroys the customer's key, then drops the rows. The mark comes first: if
// the program is killed in between, the customer already counts as erased, and
// erasing once more ends it.
func (s *Store) Erase(ctx context.Context, customer string) error {
	if s.opts.ReadOnly {
		return store.ErrReadOnly
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.inWrite(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "INSERT INTO customers (customer, erased) VALUES (?1, 1) ON CONFLICT (customer) DO UPDATE SET erased = 1", customer)
		return err
	})
	if err != nil {
		return err
	}
	if err := s.DestroyKey(customer); err != nil {
		return fmt.Errorf("the key could not be destroyed, erase once more: %w", err)
	}
	return s.inWrite(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "DELETE FROM personal WHERE customer = ?1", customer)
		return err
	})
}

// PutDoc keeps a small document.
func (s *Store) PutDoc(ctx context.Context, kind, id string, body []byte) error {
	return s.docWrite(ctx, "INSERT INTO docs (kind, id, body) VALUES (?1, ?2, ?3) ON CONFLICT (kind, id) DO UPDATE SET body = ?3", kind, id, body)
}

// DropDoc takes a document away.
func (s *Store) DropDoc(ctx context.Context, kind, id string) error {
	return s.docWrite(ctx, "DELETE FROM docs WHERE kind = ?1 AND id = ?2", kind, id)
}

func (s *Store) docWrite(ctx context.Context, query string, args ...any) error {
	if s.opts.ReadOnly {
		return store.ErrReadOnly
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.inWrite(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, query, args...)
		return err
	})
}

// Doc gives a document.
func (s *Store) Doc(ctx context.Context, kind, id string) ([]byte, error) {
	var body []byte
	err := s.read.QueryRowContext(ctx, "SELECT body FROM docs WHERE kind = ?1 AND id = ?2", kind, id).Scan(&body)
	return body, s.missing(err, kind+" "+id)
}

// Docs gives all documents of a kind by their ids.
func (s *Store) Docs(ctx context.Context, kind string) (map[string][]byte, error) {
	rows, err := s.read.QueryContext(ctx, "SELECT id, body FROM docs WHERE kind = ?1", kind)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	out := map[string][]byte{}
	for rows.Next() {
		var id string
		var body []byte
		if err := rows.Scan(&id, &body); err != nil {
			return nil, s.explain(err)
		}
		out[id] = body
	}
	return out, s.explain(rows.Err())
}
