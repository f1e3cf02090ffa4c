package demo

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"proveout/job"
	"proveout/shop"
)

// hand is one person at one device, writing one job.
type hand struct {
	bench  *shop.Bench
	device string
	person string
	at     time.Time // of the next entry
	boot   time.Time
	job    string
	n      int
}

// write writes one entry and lets a minute pass.
func (h *hand) write(ctx context.Context, kind string, payload any) (shop.Receipt, error) {
	body, err := json.Marshal(payload)
	if err != nil {
		return shop.Receipt{}, err
	}
	h.n++
	c := shop.Command{
		Key: fmt.Sprintf("demo/%s/%s/%d", h.device, h.job, h.n), Device: h.device, Author: h.person, Type: kind, Payload: body,
		Wall: h.at, MonotonicNS: h.at.Sub(h.boot).Nanoseconds(), Boot: "demo", Attested: "pin",
	}
	h.at = h.at.Add(time.Minute)
	if kind == job.ReceivedType {
		id, r, err := h.bench.Open(ctx, c)
		h.job = id
		return r, err
	}
	return h.bench.Write(ctx, h.job, c)
}

// all writes several entries, ending at the first that fails.
func (h *hand) all(ctx context.Context, entries ...entry) error {
	for _, e := range entries {
		if _, err := h.write(ctx, e.kind, e.payload); err != nil {
			return fmt.Errorf("%s: %w", e.kind, err)
		}
	}
	return nil
}

type entry struct {
	kind    string
	payload any
}

// capture sends a file as a phone does, in pieces, and adds it to the job.
func (h *hand) capture(ctx context.Context, f *folder, m map[string]any, file string) error {
	data, err := f.fsys.Open(file)
	if err != nil {
		return err
	}
	defer data.Close()
	info, err := data.Stat()
	if err != nil {
		return err
	}
	id, err := h.bench.Upload(ctx, base(file), info.Size())
	if err != nil {
		return err
	}
	if _, err := h.bench.Append(ctx, id, 0, data); err != nil {
		return err
	}
	up, err := h.bench.Finish(ctx, id)
	if err != nil {
		return err
	}
	form, err := formOf(m, "file", "item", "set_aside", "taken", "operator")
	if err != nil {
		return err
	}
	r, err := h.write(ctx, job.CaptureAddedType, job.CaptureAdded{SHA256: up.SHA256, Name: base(file), Size: up.Size, Form: form})
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	return h.aside(ctx, m, r.Item)
}

func (h *hand) aside(ctx context.Context, m map[string]any, item int) error {
	reason, _ := m["set_aside"].(string)
	if reason == "" {
		return nil
	}
	_, err := h.write(ctx, job.SetAsideType, job.SetAside{Item: item, Reason: reason})
	return err
}

// evidence replays captures and readings, those before the repair and, with after,
// those behind it. keep chooses among them; nil keeps all.
func (h *hand) evidence(ctx context.Context, f *folder, after bool, keep func(map[string]any) bool) error {
	mine := func(m map[string]any) bool {
		return (m["when"] == "after") == after && (keep == nil || keep(m))
	}
	for _, m := range f.list("captures") {
		if !mine(m) {
			continue
		}
		pattern, _ := m["file"].(string)
		files, err := f.captureFiles(pattern)
		if err != nil {
			return err
		}
		for _, file := range files {
			if err := h.capture(ctx, f, m, file); err != nil {
				return err
			}
		}
	}
	for _, m := range f.list("readings") {
		if !mine(m) {
			continue
		}
		form, err := formOf(m, "item", "set_aside", "taken", "operator")
		if err != nil {
			return err
		}
		r, err := h.write(ctx, job.ReadingTypedType, job.ReadingTyped{Form: form})
		if err != nil {
			return fmt.Errorf("reading %v: %w", m, err)
		}
		if err := h.aside(ctx, m, r.Item); err != nil {
			return err
		}
	}
	return nil
}

// received opens the job of a folder, with what the shop adds to it.
func (h *hand) received(ctx context.Context, f *folder, p job.Received, c shop.CustomerData, plate string) error {
	var err error
	if p.Vehicle, err = f.form("vehicle", "vin", "plate"); err != nil {
		return err
	}
	if p.Complaint, err = f.form("complaint"); err != nil {
		return err
	}
	if p.History, err = f.form("history"); err != nil {
		return err
	}
	limits, err := f.forms("limits")
	if err != nil {
		return err
	}
	p.Limits = append(p.Limits, toForms(limits)...)
	overrules, err := f.forms("overrules")
	if err != nil {
		return err
	}
	p.Overrules = toForms(overrules)
	return h.open(ctx, p, c, shop.VehicleData{Plate: plate, VIN: f.word("vehicle", "vin")})
}

func toForms(in []json.RawMessage) []job.Form {
	out := make([]job.Form, len(in))
	copy(out, in)
	return out
}

// open receives a vehicle; who brought it lies beside the record.
func (h *hand) open(ctx context.Context, p job.Received, c shop.CustomerData, v shop.VehicleData) error {
	p.Customer, p.VehicleID, p.Technician = "c-"+p.Title, "v-"+p.Title, h.person
	if err := h.bench.SetCustomer(ctx, p.Customer, c); err != nil {
		return err
	}
	if err := h.bench.SetVehicle(ctx, p.Customer, p.VehicleID, v); err != nil {
		return err
	}
	h.device = "demo-" + strings.ToLower(h.person) + "-" + p.Title
	_, err := h.write(ctx, job.ReceivedType, p)
	return err
}

// choose takes the first test on offer as a person would, with what was offered.
func (h *hand) choose(ctx context.Context) (shop.NextAnswer, error) {
	a, err := h.bench.Answer(ctx, h.job)
	if err != nil || a == nil || len(a.Next) == 0 {
		return shop.NextAnswer{}, err
	}
	n := a.Next[0]
	c := job.TestChosen{Test: n.Test, Subject: subjectKey(n.Subject), Minutes: n.Minutes}
	for _, o := range a.Next {
		c.Offered = append(c.Offered, job.Offered{Test: o.Test, Subject: subjectKey(o.Subject), Minutes: o.Minutes, EndsIt: o.EndsIt, SettlesBits: o.SettlesBits})
	}
	_, err = h.write(ctx, job.TestChosenType, c)
	return n, err
}

func subjectKey(s shop.SubjectAnswer) string {
	switch s.Kind {
	case "cylinder":
		return fmt.Sprintf("cyl%d", s.Number)
	case "bank":
		return fmt.Sprintf("bank%d", s.Number)
	case "pair":
		return fmt.Sprintf("pair%d-%d", s.Number, s.Second)
	}
	return ""
}
