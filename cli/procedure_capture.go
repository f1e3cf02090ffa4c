package cli

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"os"
)

// feedCapture keeps what a feed sent, beside the record of the run: what the watch
// judged can be looked at again. Each line is the time of receipt (Unix time in
// nanoseconds) and the value as sent.
type feedCapture struct {
	name  string
	f     *os.File
	sum   hash.Hash
	lines int
}

// openCapture makes the capture of this session: a new file each time.
func openCapture(job, record, watch string) (*feedCapture, error) {
	root, err := os.OpenRoot(job)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	for n := 1; n < 1000; n++ {
		name := fmt.Sprintf("%s.%s-%03d.csv", record, watch, n)
		f, err := root.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
		if errors.Is(err, os.ErrExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		c := &feedCapture{name: name, f: f, sum: sha256.New()}
		return c, c.write("received_unix_ns,value\n")
	}
	return nil, fmt.Errorf("%s has a thousand captures; begin a new record with --new", record)
}

func (c *feedCapture) write(s string) error {
	c.sum.Write([]byte(s))
	_, err := c.f.WriteString(s)
	return err
}

func (c *feedCapture) add(r row) error {
	c.lines++
	return c.write(fmt.Sprintf("%d,%g\n", r.at, r.v))
}

// seal syncs and closes the file and gives a sentence with its fingerprint.
func (c *feedCapture) seal() (string, error) {
	if err := errors.Join(c.f.Sync(), c.f.Close()); err != nil {
		return "", err
	}
	return fmt.Sprintf("feed sealed: %s, %d samples, SHA-256 %s", c.name, c.lines, hex.EncodeToString(c.sum.Sum(nil))), nil
}
