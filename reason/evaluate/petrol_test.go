package evaluate

import (
	"math/rand/v2"
	"os"
	"testing"

	"proveout/book"
	"proveout/reason"
	"proveout/reason/bay"
)

// The built-in petrol book on a four-cylinder engine.
func petrolWorld(t testing.TB, symptom string) func(rng *rand.Rand) *World {
	t.Helper()
	books, err := book.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	in, err := book.Instantiate(bay.Engine(), books[0])
	if err != nil {
		t.Fatal(err)
	}
	return func(rng *rand.Rand) *World { return NewWorld(in, symptom, rng) }
}

func TestPetrolBook(t *testing.T) {
	if os.Getenv("PROVEOUT_JOBS") == "" {
		t.Skip("long run: set PROVEOUT_JOBS")
	}
	s, err := Run(Config{World: petrolWorld(t, "misfire_load"), Jobs: jobs(20), Seed: 31, Options: reason.Options{}}, Advice)
	if err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + Text(s))
}
