package job

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"proveout/book"
	"proveout/vehicle"
)

// Any bytes give a file or an error, resolve without a panic, and do so the same
// way twice; what is resolved lies on the engine.
func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"testdata/good/*.yaml", "testdata/bad/*.yaml", "testdata/bad/*.json"} {
		files, _ := filepath.Glob(pattern)
		for _, name := range files {
			data, err := os.ReadFile(name)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
		}
	}
	text, err := os.ReadFile("testdata/book.yaml")
	if err != nil {
		f.Fatal(err)
	}
	bench, _ := book.Load("bench.yaml", text)
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 1<<14 {
			return
		}
		file, ps := Parse("job.yaml", data)
		if file == nil {
			if len(ps) == 0 {
				t.Fatal("no file and no problem")
			}
			return
		}
		e, _ := file.VehicleEngine()
		if e.Validate() != nil {
			e = vehicle.Engine{Cylinders: 4, Fuel: "petrol", Ignition: vehicle.CoilOnPlug, Injection: vehicle.Port}
		}
		books, _ := file.ChooseBooks([]*book.Book{bench}, e)
		in, err := book.Instantiate(e, books...)
		if err != nil {
			t.Fatalf("books that were chosen do not go together: %v", err)
		}
		r := file.Resolve(in)
		if again := file.Resolve(in); !reflect.DeepEqual(r, again) {
			t.Fatal("resolved differently the second time")
		}
		for _, x := range r.Readings {
			if x.Subject.Number > e.Cylinders || x.Feature == "" && x.Outcome == "" {
				t.Fatalf("reading %+v", x)
			}
		}
	})
}
