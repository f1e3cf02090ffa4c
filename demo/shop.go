package demo

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"proveout/job"
	"proveout/shop"
)

// ShopName is the invented garage; PIN is everybody's in it.
const (
	ShopName = "Quarry Lane Garage"
	PIN      = "2468"
)

// people who work there. The ids are what the record holds.
var people = []shop.Person{
	{ID: "p-ines", Name: "Ines Varga", Role: "technician"},
	{ID: "p-tom", Name: "Tom Aldous", Role: "technician"},
	{ID: "p-noor", Name: "Noor Bekker", Role: "foreman"},
}

// Fill opens the jobs of the invented shop on a bench that is empty. now is the
// moment of the visit: the day's work lies before it, promises behind it.
func Fill(ctx context.Context, b *shop.Bench, folders fs.FS, now time.Time) error {
	for _, p := range people {
		if err := b.PutPerson(ctx, p, PIN); err != nil {
			return err
		}
	}
	g := garage{bench: b, folders: folders, now: now}
	for _, open := range []func(context.Context) error{
		g.settings, g.rain, g.justReceived, g.ownSuspects, g.onePlacement, g.leanInterrupted, g.shownOnTheHill, g.provenOnTheHill, g.brakes, g.highVoltage, g.notProven,
	} {
		if err := open(ctx); err != nil {
			return fmt.Errorf("the demo shop: %w", err)
		}
	}
	return nil
}

type garage struct {
	bench   *shop.Bench
	folders fs.FS
	now     time.Time
}

// hand is a person who began some minutes ago.
func (g *garage) hand(person string, ago time.Duration) *hand {
	at := g.now.Add(-ago)
	return &hand{bench: g.bench, person: person, at: at, boot: at}
}

// promised is a time of today, in the form of the record.
func (g *garage) promised(in time.Duration) string {
	return g.now.Add(in).Truncate(15 * time.Minute).Format(time.RFC3339)
}

func (g *garage) settings(ctx context.Context) error {
	h := g.hand("p-noor", 9*time.Hour)
	h.device, h.job = "demo-office", shop.ShopJob
	return h.all(ctx, entry{job.SettingsChangedType, job.Settings{ShopName: ShopName, Units: "si"}})
}

func form(v any) job.Form {
	body, err := json.Marshal(v)
	if err != nil {
		panic(err) // the values stand in this file
	}
	return body
}

// rain was received, and not asked about yet.
func (g *garage) rain(ctx context.Context) error {
	h := g.hand("p-noor", 50*time.Minute)
	return h.open(ctx, job.Received{
		Title: "2419", Bay: "Yard", Promised: g.promised(30 * time.Hour),
		Vehicle:   form(map[string]any{"make": "Kestwick", "model": "Marl 1.4", "year": 2016}),
		Complaint: form(map[string]any{"conditions": map[string]any{"lamp": "unknown"}}),
	}, shop.CustomerData{Name: "Bram Tollard", Phone: "0555 0140"}, shop.VehicleData{Plate: "QL 419 M"})
}

// justReceived has its complaint and no evidence yet.
func (g *garage) justReceived(ctx context.Context) error {
	h := g.hand("p-tom", 40*time.Minute)
	err := h.open(ctx, job.Received{
		Title: "2418", Bay: "Bay 4", Promised: g.promised(4 * time.Hour), AgreedMinutes: 60,
		Vehicle: form(map[string]any{"make": "Sundane", "model": "Pelle 1.2", "year": 2020, "odometer": "48210 km",
			"engine": map[string]any{"cylinders": 3, "arrangement": "inline", "ignition": "coil_on_plug", "injection": "direct", "boosted": true, "fuel": "petrol", "access": "easy"}}),
		Complaint: form(map[string]any{"said": "It hangs for a moment when I join the ring road.", "symptoms": []string{"hesitation"},
			"conditions": map[string]any{"state": []string{"load"}, "warm": "any", "lamp": "off"}}),
	}, shop.CustomerData{Name: "Elske Morrow", Phone: "0555 0112"}, shop.VehicleData{Plate: "QL 418 S"})
	if err != nil {
		return err
	}
	return h.all(ctx, entry{job.TimePunchType, job.TimePunch{What: "in"}})
}

// ownSuspects is a vehicle that no fault book fits: suspects and tests were added at
// the fender.
func (g *garage) ownSuspects(ctx context.Context) error {
	h := g.hand("p-tom", 3*time.Hour)
	err := h.open(ctx, job.Received{
		Title: "2412", Bay: "Bay 5", Promised: g.promised(5 * time.Hour), AgreedMinutes: 90,
		Vehicle: form(map[string]any{"make": "Orlund", "model": "Sabe diesel 2.0", "year": 2015,
			"engine": map[string]any{"cylinders": 4, "ignition": "none", "injection": "direct", "fuel": "diesel", "boosted": true}}),
		Complaint: form(map[string]any{"said": "On the motorway it has no pull left.", "symptoms": []string{"weak_pull"}, "conditions": map[string]any{"state": []string{"load"}, "lamp": "steady"}}),
		Own:       form(map[string]any{"symptoms": map[string]any{"weak_pull": "pulls weakly"}}),
	}, shop.CustomerData{Name: "Orrin Daley", Phone: "0555 0151"}, shop.VehicleData{Plate: "QL 412 S"})
	if err != nil {
		return err
	}
	test := func(id, name, fault, good, bad string, minutes int) job.TestAdded {
		return job.TestAdded{Test: form(map[string]any{"id": id, "name": name, "per": "engine", "static": true, "direct": []string{fault},
			"outcomes": []map[string]any{{"id": "good", "text": good, "normal": true}, {"id": "bad", "text": bad, "proves": true}},
			"healthy":  map[string]any{"good": 0.95, "bad": 0.05}, "given": map[string]any{fault: map[string]any{"bad": 0.9}}, "minutes": map[string]any{"easy": minutes, "buried": 2 * minutes}})}
	}
	return h.all(ctx,
		entry{job.SuspectAddedType, job.SuspectAdded{Component: form(map[string]any{"id": "hose", "name": "charge air hose", "per": "engine"}), Fault: form(map[string]any{"id": "hose_split", "component": "hose", "name": "charge air hose split", "rate": 0.03, "complaint": map[string]any{"weak_pull": 0.8}})}},
		entry{job.SuspectAddedType, job.SuspectAdded{Component: form(map[string]any{"id": "vanes", "name": "charger vanes", "per": "engine"}), Fault: form(map[string]any{"id": "vanes_stuck", "component": "vanes", "name": "charger vanes stuck", "rate": 0.02, "complaint": map[string]any{"weak_pull": 0.7}})}},
		entry{job.TestAddedType, test("hose_pressure", "charge air hose looked at under pressure", "hose_split", "tight", "blows out", 10)},
		entry{job.TestAddedType, test("vanes_move", "vane lever moved by hand", "vanes_stuck", "moves freely", "stiff or stuck", 15)},
		entry{job.ReadingTypedType, job.ReadingTyped{Form: form(map[string]any{"test": "hose_pressure", "result": "good"})}},
		entry{job.NoteType, job.Note{Text: "Hose dry and tight at 1.2 bar; clamp renewed all the same."}},
	)
}

// onePlacement has evidence that does not settle it: the next test is chosen, and
// the two gauges on the rail cannot both be right.
func (g *garage) onePlacement(ctx context.Context) error {
	f, err := openFolder(g.folders, "02-one-placement-only")
	if err != nil {
		return err
	}
	h := g.hand("p-ines", 2*time.Hour)
	if err := h.received(ctx, f, job.Received{Title: "2417", Bay: "Bay 2", Promised: g.promised(3 * time.Hour), AgreedMinutes: 90}, shop.CustomerData{Name: "Wenna Castell", Phone: "0555 0133"}, "QL 417 C"); err != nil {
		return err
	}
	if err := h.evidence(ctx, f, false, nil); err != nil {
		return err
	}
	rail := func(value, instrument string) entry {
		return entry{job.ReadingTypedType, job.ReadingTyped{Form: form(map[string]any{"feature": "fuel.pressure_load", "value": value, "condition": map[string]any{"state": "load", "warm": "warm"}, "instrument": instrument})}}
	}
	if err := h.all(ctx, entry{job.TimePunchType, job.TimePunch{What: "in"}}, rail("250 kPa", "gauge on the rail"), rail("380 kPa", "the rail's own sensor")); err != nil {
		return err
	}
	_, err = h.choose(ctx)
	return err
}

// leanInterrupted was put down part way: the card says where it stands.
func (g *garage) leanInterrupted(ctx context.Context) error {
	f, err := openFolder(g.folders, "03-lean-injector")
	if err != nil {
		return err
	}
	h := g.hand("p-noor", 4*time.Hour)
	if err := h.received(ctx, f, job.Received{Title: "2414", Bay: "Bay 1", Promised: g.promised(90 * time.Minute), AgreedMinutes: 120}, shop.CustomerData{Name: "Ludo Ferrant", Phone: "0555 0120"}, "QL 414 V"); err != nil {
		return err
	}
	if err := h.evidence(ctx, f, false, nil); err != nil {
		return err
	}
	n, err := h.choose(ctx)
	if err != nil {
		return err
	}
	return h.all(ctx,
		entry{job.ApprovalAskedType, job.Agreed{Minutes: 45, By: "customer", How: "phone", For: "injectors out and on the bench"}},
		entry{job.InterruptedType, job.Interrupted{State: "Nothing is taken apart; rail gauge off again.", Card: "Waiting for the customer's yes. Then: " + n.Name + "."}},
	)
}

// shownOnTheHill is shown by direct test: the correction comes next.
func (g *garage) shownOnTheHill(ctx context.Context) error {
	f, err := openFolder(g.folders, "01-stumble-on-the-hill")
	if err != nil {
		return err
	}
	h := g.hand("p-ines", 7*time.Hour)
	if err := h.received(ctx, f, job.Received{Title: "2411", Bay: "Bay 3", Promised: g.promised(2 * time.Hour), AgreedMinutes: 150}, shop.CustomerData{Name: "Hale Winterbourne", Phone: "0555 0109"}, "QL 204 T"); err != nil {
		return err
	}
	if err := h.evidence(ctx, f, false, nil); err != nil {
		return err
	}
	return h.all(ctx, entry{job.PartOrderedType, job.PartUsed{Name: "spark plug", Number: "TB-7714", Count: 4, Suspect: "plug_gap_wide@cyl3"}})
}

// provenOnTheHill is repaired and driven again: its proof page has something to say.
func (g *garage) provenOnTheHill(ctx context.Context) error {
	f, err := openFolder(g.folders, "06-proven-on-the-hill")
	if err != nil {
		return err
	}
	h := g.hand("p-ines", 8*time.Hour)
	if err := h.received(ctx, f, job.Received{Title: "2408", Bay: "Road", Promised: g.promised(45 * time.Minute), AgreedMinutes: 150}, shop.CustomerData{Name: "Tam Ostrey", Phone: "0555 0177"}, "QL 431 T"); err != nil {
		return err
	}
	if err := h.evidence(ctx, f, false, nil); err != nil {
		return err
	}
	plan, err := f.form("proof")
	if err != nil {
		return err
	}
	err = h.all(ctx,
		entry{job.ApprovalGivenType, job.Agreed{Minutes: 60, By: "customer", How: "phone", For: "four plugs and the drives"}},
		entry{job.CorrectionType, job.Corrected{Done: "Four spark plugs renewed as a set, head cold, 23 N·m", Cause: "plug_gap_wide@cyl4", Reused: "coils and boots, each in its own place",
			Parts: []job.PartUsed{{Name: "spark plug", Number: "TB-7714", Lot: "2609", Count: 4}}}},
		entry{job.ProofPlannedType, job.ProofPlanned{Form: plan}},
	)
	if err != nil {
		return err
	}
	return h.evidence(ctx, f, true, nil)
}

// brakes is a service with a set order, not begun.
func (g *garage) brakes(ctx context.Context) error {
	h := g.hand("p-tom", 30*time.Minute)
	return h.open(ctx, job.Received{
		Title: "2409", Kind: "service", Procedure: "epb_caliper_pads", Bay: "Bay 6", Promised: g.promised(6 * time.Hour), AgreedMinutes: 120,
		Vehicle:   form(map[string]any{"make": "Dovrik", "model": "Halt 2.0", "year": 2019, "odometer": "77120 km"}),
		Complaint: form(map[string]any{"said": "Rear pads, please."}),
		History:   form(map[string]any{"notes": []string{"car: driven: front", "car: parking: motor_on_caliper", "car: lift: two_post"}}),
	}, shop.CustomerData{Name: "Ilse Varn", Phone: "0555 0188"}, shop.VehicleData{Plate: "QL 409 H"})
}

// highVoltage must not be left: it stands first on the board.
func (g *garage) highVoltage(ctx context.Context) error {
	h := g.hand("p-noor", 26*time.Hour)
	err := h.open(ctx, job.Received{
		Title: "2407", Kind: "service", Procedure: "high_voltage_isolation", Bay: "Bay 7, roped off", Promised: g.promised(26 * time.Hour), AgreedMinutes: 60,
		Vehicle:   form(map[string]any{"make": "Brannoch", "model": "Ternhal hybrid", "year": 2021}),
		Complaint: form(map[string]any{"said": "Stop, safely, it told me. So I did."}),
	}, shop.CustomerData{Name: "Joss Perrin", Phone: "0555 0165"}, shop.VehicleData{Plate: "QL 407 B"})
	if err != nil {
		return err
	}
	return h.all(ctx,
		entry{job.DangerousType, job.Dangerous{Text: "380 V DC until proved dead. Keep out of the orange cover."}},
		entry{job.PartOrderedType, job.PartUsed{Name: "contactor set", Due: g.promised(20 * time.Hour)}},
		entry{job.TimePunchType, job.TimePunch{What: "in"}},
	)
}

// notProven ended as it really was: a proper ending. Two days later the same car is
// back as 2417.
func (g *garage) notProven(ctx context.Context) error {
	f, err := openFolder(g.folders, "02-one-placement-only")
	if err != nil {
		return err
	}
	h := g.hand("p-ines", 50*time.Hour)
	if err := h.received(ctx, f, job.Received{Title: "2403", Bay: "Yard", AgreedMinutes: 60}, shop.CustomerData{Name: "Wenna Castell", Phone: "0555 0133"}, "QL 417 C"); err != nil {
		return err
	}
	logs := func(m map[string]any) bool { return m["kind"] == "diagnostic" || m["kind"] == "parameter_log" }
	if err := h.evidence(ctx, f, false, logs); err != nil {
		return err
	}
	err = h.all(ctx,
		entry{job.HandOverType, job.HandOver{Card: "Customer needs the car; asked to write down when it stumbles."}},
		entry{job.ClosedType, job.Closed{Result: "not_proven", Because: "the approval is used up", Left: "place the pickup on all four coils", AskAgain: "at 500 km"}},
	)
	return errors.Join(err, ctx.Err())
}
