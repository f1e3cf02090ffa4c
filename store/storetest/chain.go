package storetest

import (
	"encoding/json"
	"fmt"
	"testing"

	"proveout/job"
	"proveout/store"
)

// Chain makes entries of one device in one job, each after the last.
type Chain struct {
	Job, Device string
	head        job.Head
	before      job.Head
}

// Next makes the next line and moves on to it.
func (c *Chain) Next(tb testing.TB, entryType string, payload any) []byte {
	tb.Helper()
	line := c.Peek(tb, entryType, payload)
	c.before = c.head
	c.head = job.Head{Sequence: c.head.Sequence + 1, Digest: job.Digest(line)}
	return line
}

// Peek makes the next line and stays.
func (c *Chain) Peek(tb testing.TB, entryType string, payload any) []byte {
	tb.Helper()
	body, err := json.Marshal(payload)
	if err != nil {
		tb.Fatal(err)
	}
	n := c.head.Sequence + 1
	line, err := json.Marshal(job.Entry{
		Schema: job.EntrySchemaID, ID: fmt.Sprintf("%s-%s-%d", c.Job, c.Device, n), Shop: "shop", Job: c.Job, Author: "ines", Device: c.Device,
		Sequence: n, Previous: c.head.Digest, Wall: "2026-11-25T08:00:00+01:00", BootID: "boot", Type: entryType, Parents: []string{}, Payload: body,
	})
	if err != nil {
		tb.Fatal(err)
	}
	return line
}

// Note is a batch of one note.
func (c *Chain) Note(tb testing.TB, text string) store.Batch {
	tb.Helper()
	return store.Batch{Job: c.Job, Lines: [][]byte{c.Next(tb, job.NoteType, job.Note{Text: text})}}
}

// Count is how many entries the chain has.
func (c *Chain) Count() int { return c.head.Sequence }

// Resume goes on after a head.
func (c *Chain) Resume(h job.Head) { c.head, c.before = h, h }

// Back takes the last Next back.
func (c *Chain) Back() { c.head = c.before }
