package web

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"proveout/job"
	"proveout/shop"
)

// JobPath names a job in a path; exported, since the library skips embedded fields
// that are not.
type JobPath struct {
	ID string `path:"id" maxLength:"100" doc:"id of the job"`
}

// commandBody is a command as a device sends it. Who writes and from which device
// comes from the badge, not from the body.
type commandBody struct {
	Key         string          `json:"key" minLength:"1" maxLength:"200" doc:"the same key again gets the same receipt"`
	N           int64           `json:"n,omitempty" minimum:"0" maximum:"9007199254740991" doc:"the device's own counter from 1; 0: order does not matter"`
	Type        string          `json:"type" maxLength:"100" example:"note@1" doc:"type of entry, name@version"`
	Payload     json.RawMessage `json:"payload,omitempty" doc:"by the type"`
	Sure        bool            `json:"sure,omitempty" doc:"of a reading: the person was asked about a figure far from what it can be, and it is right"`
	Parents     []string        `json:"parents,omitempty" maxItems:"100" doc:"entries this one is about"`
	Seen        int64           `json:"seen,omitempty" minimum:"0" doc:"rev of the job the person was looking at; 0: not known"`
	Wall        time.Time       `json:"wall,omitempty" doc:"when it was done, by the device's clock; left out: now"`
	MonotonicNS int64           `json:"monotonic_ns,omitempty" doc:"the device's own clock that never jumps"`
	Boot        string          `json:"boot,omitempty" maxLength:"100" doc:"which start of the device that clock counts from"`
	Practice    bool            `json:"practice,omitempty" doc:"of a received@1: a practice vehicle"`
	// What the device's clocks say at the moment of sending; a device with a wrong
	// clock is told by them.
	NowWall        time.Time `json:"now_wall,omitempty"`
	NowMonotonicNS int64     `json:"now_monotonic_ns,omitempty"`
	NowBoot        string    `json:"now_boot,omitempty" maxLength:"100"`
	Settled        int64     `json:"settled,omitempty" minimum:"0" doc:"everything up to this number of the device was answered, taken or refused: nothing earlier is on its way"`
}

// command puts the body on a device's chain. Where the device says what its clocks read
// at the moment of sending, the entry stands at its moment on this machine's clock.
func (b *commandBody) command(a author, now time.Time) shop.Command {
	payload := b.Payload
	if len(payload) == 0 {
		payload = json.RawMessage("{}")
	}
	if !b.NowWall.IsZero() || b.NowBoot != "" {
		b.Wall = now.Add(-min(Clocks{b.Wall, b.MonotonicNS, b.Boot, b.NowWall, b.NowMonotonicNS, b.NowBoot}.age(), keptTime))
	}
	return shop.Command{
		Key: b.Key, Device: a.Device, N: b.N, Settled: b.Settled, Author: a.Person, Type: b.Type, Payload: payload, Parents: b.Parents, Seen: b.Seen,
		Wall: b.Wall, MonotonicNS: b.MonotonicNS, Boot: b.Boot, Attested: a.Attested, Practice: b.Practice,
	}
}

type receiptOut struct {
	Status int
	Body   shop.Receipt
}

// withoutPerson is a job for somebody who showed no PIN: whose it is and the VIN stay with
// the shop. The plate stands on the board, where the job is known by it.
func withoutPerson(v *shop.JobView) *shop.JobView {
	out := *v
	out.Customer = shop.CustomerView{ID: v.Customer.ID, Erased: v.Customer.Erased}
	out.Vehicle.VIN = ""
	return &out
}

// receipt is 201 for what was written now and 200 for what was written before.
func receiptOf(r shop.Receipt) *receiptOut {
	if r.Again {
		return &receiptOut{http.StatusOK, r}
	}
	return &receiptOut{http.StatusCreated, r}
}

// again is the answer to a write that was carried out before.
func again() map[string]*huma.Response {
	return map[string]*huma.Response{"200": {Description: "written before, by the same key: its receipt", Content: map[string]*huma.MediaType{"application/json": {Schema: &huma.Schema{Ref: "#/components/schemas/Receipt"}}}}}
}

// unchanged is the answer to an asker who has the newest already.
func unchanged() map[string]*huma.Response {
	return map[string]*huma.Response{"304": {Description: "as it was when the asker got it"}}
}

// tagged is a body with its tag; an asker who has it already gets 304.
type tagged[T any] struct {
	Status int
	ETag   string `header:"ETag"`
	Body   *T
}

// Asked is what an asker has already.
type Asked struct {
	IfNoneMatch string `header:"If-None-Match" maxLength:"500"`
}

func tag[T any](c *apiCall, v *T) (*tagged[T], error) {
	body, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(body)
	t := `"` + hex.EncodeToString(sum[:8]) + `"`
	if matches(c.r, t) {
		return &tagged[T]{Status: http.StatusNotModified, ETag: t}, nil
	}
	return &tagged[T]{Status: http.StatusOK, ETag: t, Body: v}, nil
}

func (s *Server) jobOperations(api huma.API) {
	operation(api, huma.Operation{OperationID: "board", Method: "GET", Path: "/board", Summary: "Every open job, dangerous ones first", Tags: []string{"jobs"}, Responses: unchanged()},
		func(c *apiCall, _ *Asked) (*tagged[shop.BoardView], error) {
			v, err := c.bench.Board(c.r.Context())
			if err != nil {
				return nil, err
			}
			return tag(c, v)
		})
	operation(api, huma.Operation{OperationID: "jobs", Method: "GET", Path: "/jobs", Summary: "All jobs, the newest first", Tags: []string{"jobs"}},
		func(c *apiCall, in *struct {
			Before int64 `query:"before" minimum:"0" doc:"go on from the rev of the last row"`
			Limit  int   `query:"limit" minimum:"1" maximum:"500" default:"100"`
		}) (*struct{ Body *shop.BoardView }, error) {
			v, err := c.bench.All(c.r.Context(), in.Before, in.Limit)
			return &struct{ Body *shop.BoardView }{v}, err
		})
	operation(api, huma.Operation{OperationID: "closed", Method: "GET", Path: "/closed", Summary: "Closed jobs, searched by plate, VIN, name, number, words or date", Tags: []string{"jobs"}},
		func(c *apiCall, in *struct {
			Q      string `query:"q" maxLength:"200"`
			Before int64  `query:"before" minimum:"0" doc:"next of the page before"`
			Limit  int    `query:"limit" minimum:"1" maximum:"500" default:"100"`
		}) (*struct{ Body *shop.PastView }, error) {
			v, err := c.bench.Closed(c.r.Context(), in.Q, in.Before, in.Limit)
			return &struct{ Body *shop.PastView }{v}, err
		})
	operation(api, huma.Operation{OperationID: "open-job", Method: "POST", Path: "/jobs", Summary: "Open a job with a received@1 command", DefaultStatus: 201, Tags: []string{"jobs"}, Responses: again()},
		func(c *apiCall, in *struct{ Body commandBody }) (*receiptOut, error) {
			a, err := c.author(c.w, c.r)
			if err != nil {
				return nil, err
			}
			in.Body.Type = job.ReceivedType
			_, r, err := c.bench.Open(c.r.Context(), in.Body.command(a, c.now()))
			return receiptOf(r), err
		})
	operation(api, huma.Operation{OperationID: "job", Method: "GET", Path: "/jobs/{id}", Summary: "Everything one job's page shows", Tags: []string{"jobs"}, Responses: unchanged()},
		func(c *apiCall, in *struct {
			JobPath
			Asked
		}) (*tagged[shop.JobView], error) {
			v, err := c.bench.Job(c.r.Context(), in.ID)
			if err != nil {
				return nil, err
			}
			if _, err := c.author(c.w, c.r); err != nil {
				v = withoutPerson(v)
			}
			return tag(c, v)
		})
	operation(api, huma.Operation{OperationID: "entries", Method: "GET", Path: "/jobs/{id}/entries", Summary: "The job's whole record", Tags: []string{"jobs"}},
		func(c *apiCall, in *JobPath) (*struct{ Body []shop.EntryView }, error) {
			v, err := c.bench.Entries(c.r.Context(), in.ID)
			return &struct{ Body []shop.EntryView }{v}, err
		})
	operation(api, huma.Operation{OperationID: "write", Method: "POST", Path: "/jobs/{id}/entries", Summary: "Write one entry of a job; answered when it is safe on disk", DefaultStatus: 201, Tags: []string{"jobs"}, Responses: again()},
		func(c *apiCall, in *struct {
			JobPath
			Body commandBody
		}) (*receiptOut, error) {
			a, err := c.author(c.w, c.r)
			if err != nil {
				return nil, err
			}
			if err := c.mayClose(c.r.Context(), in.ID, in.Body.Type, in.Body.Payload); err != nil {
				return nil, err
			}
			if err := c.askedTwice(in.Body); err != nil {
				return nil, err
			}
			r, err := c.bench.Write(c.r.Context(), in.ID, in.Body.command(a, c.now()))
			return receiptOf(r), err
		})
}

func (s *Server) shopOperations(api huma.API) {
	operation(api, huma.Operation{OperationID: "people", Method: "GET", Path: "/people", Summary: "Who works in the shop", Tags: []string{"shop"}},
		func(c *apiCall, _ *struct{}) (*struct{ Body []shop.Person }, error) {
			v, err := c.bench.People(c.r.Context())
			return &struct{ Body []shop.Person }{v}, err
		})
	operation(api, huma.Operation{OperationID: "settings", Method: "GET", Path: "/settings", Summary: "The settings in force", Tags: []string{"shop"}},
		func(c *apiCall, _ *struct{}) (*struct{ Body job.Settings }, error) {
			v, err := c.shopSettings(c.r)
			return &struct{ Body job.Settings }{v}, err
		})
}
