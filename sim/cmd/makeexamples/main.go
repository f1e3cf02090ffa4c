// Command makeexamples writes the example job folders.
//
//	go run ./sim/cmd/makeexamples -out examples -seed 2026
//
// The invented ones (01 to 03, 06) come from the physics of package sim and the
// seed alone. The two on real recordings (04, 05) are copied and rearranged
// from the shared data, given with -shared; without it they are left as they
// are. A test makes the folders again and compares them with the committed ones.
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"sort"
)

// folder is the files of one example by path inside it.
type folder map[string][]byte

func main() {
	out := flag.String("out", "examples", "folder to write the examples into")
	seed := flag.Uint64("seed", 2026, "seed of the invented examples")
	shared := flag.String("shared", "", "folder with the shared recordings (data/...); empty = leave 04 and 05 alone")
	flag.Parse()
	all, err := invented(*seed)
	if err == nil && *shared != "" {
		var more map[string]folder
		if more, err = recorded(*shared); err == nil {
			for name, f := range more {
				all[name] = f
			}
		}
	}
	if err == nil {
		err = write(*out, all)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "makeexamples:", err)
		os.Exit(1)
	}
}

// invented makes the simulated examples.
func invented(seed uint64) (map[string]folder, error) {
	all := map[string]folder{}
	for _, x := range []struct {
		name string
		make func(uint64) (folder, error)
	}{{"01-stumble-on-the-hill", stumble}, {"02-one-placement-only", onePlacement}, {"03-lean-injector", leanInjector}, {"06-proven-on-the-hill", proven}} {
		f, err := x.make(seed)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", x.name, err)
		}
		all[x.name] = f
	}
	return all, nil
}

// write replaces the captures of each example and writes its files.
func write(out string, all map[string]folder) error {
	names := make([]string, 0, len(all))
	for n := range all {
		names = append(names, n)
	}
	sort.Strings(names)
	for _, n := range names {
		if err := os.RemoveAll(filepath.Join(out, n, "captures")); err != nil {
			return err
		}
		total := 0
		for file, data := range all[n] {
			path := filepath.Join(out, n, filepath.FromSlash(file))
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				return err
			}
			if err := os.WriteFile(path, data, 0o644); err != nil {
				return err
			}
			total += len(data)
		}
		fmt.Printf("%-28s %3d files %5d kB\n", n, len(all[n]), total/1000)
	}
	return nil
}
