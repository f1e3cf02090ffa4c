package shop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"

	"proveout/job"
	"proveout/store"
)

// CustomerData is the personal data of a customer, kept beside the chain under the
// customer's own key.
type CustomerData struct {
	Name  string `json:"name,omitempty"`
	Phone string `json:"phone,omitempty"`
	Email string `json:"email,omitempty"`
	Note  string `json:"note,omitempty"`
}

// VehicleData is what names a vehicle to the world.
type VehicleData struct {
	VIN   string `json:"vin,omitempty"`
	Plate string `json:"plate,omitempty"`
}

const customerRow = "customer"

func vehicleRow(id string) string { return "vehicle/" + id }

// SetCustomer keeps a customer's data. A new customer's id is any new opaque id.
func (b *Bench) SetCustomer(ctx context.Context, customer string, d CustomerData) error {
	return b.putPersonal(ctx, customer, customerRow, d)
}

// SetVehicle keeps what names a vehicle of the customer.
func (b *Bench) SetVehicle(ctx context.Context, customer, vehicle string, d VehicleData) error {
	return b.putPersonal(ctx, customer, vehicleRow(vehicle), d)
}

func (b *Bench) putPersonal(ctx context.Context, customer, name string, v any) error {
	if customer == "" {
		return fmt.Errorf("%w: the customer's id is missing", ErrBadCommand)
	}
	body, err := json.Marshal(v)
	if err != nil {
		return err
	}
	if err := b.store.PutPersonal(ctx, customer, name, body); err != nil {
		return err
	}
	b.people.forget(customer)
	b.pasts.customerChanged(customer)
	b.beside.Add(1)
	b.feed.tell(Change{What: "personal"})
	return nil
}

// Customer gives a customer's data, or store.ErrErased.
func (b *Bench) Customer(ctx context.Context, customer string) (CustomerData, error) {
	var d CustomerData
	return d, b.personal(ctx, customer, customerRow, &d)
}

func (b *Bench) vehiclePersonal(ctx context.Context, customer, vehicle string) (VehicleData, error) {
	var d VehicleData
	if customer == "" || vehicle == "" {
		return d, nil
	}
	err := b.personal(ctx, customer, vehicleRow(vehicle), &d)
	return d, err
}

// personal reads a row; one that was never kept is empty.
func (b *Bench) personal(ctx context.Context, customer, name string, into any) error {
	if customer == "" {
		return nil
	}
	plain, err := b.people.get(customer, name, func() ([]byte, error) { return b.store.Personal(ctx, customer, name) })
	if isNotFound(err) || err == nil && plain == nil {
		return nil
	}
	if err != nil {
		return err
	}
	return json.Unmarshal(plain, into)
}

// Erase destroys the key of a customer on request. The record stays whole; screens
// show "erased on request" from now on.
func (b *Bench) Erase(ctx context.Context, customer string) error {
	err := b.store.Erase(ctx, customer)
	b.answers.clear() // they name the vehicle
	b.people.forget(customer)
	b.pasts.customerChanged(customer)
	b.beside.Add(1)
	b.feed.tell(Change{What: "personal"})
	return err
}

// private is what the job file of a job says from beside the chain.
func (b *Bench) private(ctx context.Context, s *job.State) (job.Private, error) {
	d, err := b.vehiclePersonal(ctx, s.Customer, s.VehicleID)
	if errors.Is(err, store.ErrErased) {
		err = nil
	}
	return job.Private{VIN: d.VIN, Plate: d.Plate}, err
}

// peopleShelf keeps decrypted rows, so that a board of many jobs does not decrypt
// each plate on each view.
type peopleShelf struct {
	mu   sync.Mutex
	rows map[string]map[string]shelved // by customer
	n    int

	staff sync.Map // id to storedPerson
	wrong wrongPINs
}

type shelved struct {
	plain []byte
	err   error
}

// shelvedPeople bounds the shelf; past it, it starts anew.
const shelvedPeople = 5000

func (p *peopleShelf) get(customer, name string, load func() ([]byte, error)) ([]byte, error) {
	p.mu.Lock()
	if s, ok := p.rows[customer][name]; ok {
		p.mu.Unlock()
		return s.plain, s.err
	}
	p.mu.Unlock()
	plain, err := load()
	if err != nil && !isNotFound(err) && !errors.Is(err, store.ErrErased) {
		return nil, err // may be another next time
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.rows == nil || p.n >= shelvedPeople {
		p.rows, p.n = map[string]map[string]shelved{}, 0
	}
	if p.rows[customer] == nil {
		p.rows[customer] = map[string]shelved{}
	}
	p.rows[customer][name] = shelved{plain, err}
	p.n++
	return plain, err
}

func (p *peopleShelf) forget(customer string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.n -= len(p.rows[customer])
	delete(p.rows, customer)
}
