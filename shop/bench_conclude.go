package shop

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"proveout/job"
)

// concluded writes a conclusion into the record when what the program concludes
// has changed: what is shown, what is ruled out, which suspect leads, whether the
// search is over. It pins book, program and decoder, so that the conclusion can be
// held against them later. Every change of a chance in its last digit would bury
// the record.
func (b *Bench) concluded(ctx context.Context, id string, in basis, w *worked) {
	if w.answer == nil || w.err != "" || len(w.answer.Suspects) == 0 {
		return
	}
	c, err := conclusion(w.answer, in)
	if err != nil {
		return
	}
	if n := len(in.state.Conclusions); n > 0 && outline(&in.state.Conclusions[n-1].What) == outline(&c) {
		return
	}
	payload, err := json.Marshal(c)
	if err != nil {
		return
	}
	// The key names what was concluded from what: a restart writes it no second time.
	_, err = b.write(ctx, id, Command{
		Key: "conclusion/" + id + "/" + in.hash, Device: serverDevice, Author: "program", Type: job.ConclusionType, Payload: payload,
	})
	if err != nil {
		b.feed.tell(Change{Job: id, What: "trouble", Type: "the conclusion could not be written: " + err.Error()})
	}
}

func conclusion(a *Answer, in basis) (job.Conclusion, error) {
	body, err := json.Marshal(a)
	if err != nil {
		return job.Conclusion{}, err
	}
	settings, err := json.Marshal(in.settings)
	if err != nil {
		return job.Conclusion{}, err
	}
	c := job.Conclusion{
		Answer: job.Digest(body), Record: in.state.Entries, Program: a.Program, Decoder: DecoderVersion, Settings: job.Digest(settings),
		Headline: a.Headline, NotListed: a.NotListed, Stopped: a.Stopped,
	}
	for _, k := range a.Books {
		c.Books = append(c.Books, job.Pin{ID: k.ID, Version: k.Version, SHA256: k.SHA256})
	}
	for _, s := range a.Suspects {
		if len(c.Odds) < 8 || s.State == "shown" || s.State == "ruled_out" {
			c.Odds = append(c.Odds, job.Odds{Suspect: s.ID, Chance: s.Chance, Before: s.Before, State: s.State})
		}
	}
	return c, nil
}

// outline is what makes two conclusions different ones.
func outline(c *job.Conclusion) string {
	var parts []string
	for i, o := range c.Odds {
		if i == 0 || o.State == "shown" || o.State == "ruled_out" {
			parts = append(parts, o.Suspect+" "+o.State)
		}
	}
	slices.Sort(parts)
	return fmt.Sprint(c.Stopped, c.Program, c.Decoder, c.Books, strings.Join(parts, ","))
}
