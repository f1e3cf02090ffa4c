package evaluate

import (
	"fmt"
	"math/rand/v2"

	"proveout/book"
	"proveout/reason"
	"proveout/reason/bay"
)

// Report plays abstract vehicles under the advice and under two orders that do not
// listen to it, and small books against their optimum, and prints both. each, if set,
// is told how many vehicles are done.
func Report(vehicles int, seed uint64, o reason.Options, each func(done int)) (string, error) {
	in, err := book.Instantiate(bay.Engine(), bay.Book())
	if err != nil {
		return "", err
	}
	world := func(rng *rand.Rand) *World { return NewWorld(in, "misfire_load", rng) }
	scores, err := Run(Config{World: world, Jobs: vehicles, Seed: seed, Options: o, Each: each}, Advice, Fixed, Random)
	if err != nil {
		return "", err
	}
	small, err := AgainstOptimum(vehicles, seed)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("abstract vehicles, the reasoning alone, seed %d\n%s\n%s\n", seed, Text(scores), small), nil
}
