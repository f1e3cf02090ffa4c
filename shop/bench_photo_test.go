package shop

import (
	"bytes"
	"errors"
	"image"
	"image/jpeg"
	"strings"
	"testing"

	"proveout/store"
)

// A photograph is kept, cited, given back, and gone when the customer is erased; the
// record still verifies that there was one.
func TestPhotoLiesUnderTheCustomersKey(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	picture := photograph(t)
	r, err := b.AddPhoto(t.Context(), id, picture, "rear left", "before", Command{Key: "p1", Device: "tablet1", Author: "ines"})
	if err != nil || r.Entry == "" {
		t.Fatal(r, err)
	}
	s, err := b.State(t.Context(), id)
	if err != nil || len(s.Photos) != 1 || s.Photos[0].What.Place != "rear left" {
		t.Fatalf("%+v, %v", s.Photos, err)
	}
	sum := s.Photos[0].What.SHA256
	got, err := b.Photo(t.Context(), id, sum)
	if err != nil || !bytes.Equal(got, picture) {
		t.Fatalf("given back: %d bytes, %v", len(got), err)
	}
	if err := b.store.Erase(t.Context(), "cust1"); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Photo(t.Context(), id, sum); !errors.Is(err, store.ErrErased) {
		t.Errorf("after the erasure: %v", err)
	}
	if _, err := b.Photo(t.Context(), id, strings.Repeat("0", 64)); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("one that was never added: %v", err)
	}
}

func TestWhatIsNoPhotoIsRefused(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	for name, data := range map[string][]byte{"nothing": nil, "the head of a JPEG": []byte("\xff\xd8\xff\xe0\x00\x10JFIF\x00 and 40 bytes that are none, none at all, none"), "a page": []byte("<html><script>alert(1)</script>"), "a drawing with script": []byte(`<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>`), "too large": append([]byte("\xff\xd8\xff"), make([]byte, MostPhoto)...)} {
		if _, err := b.AddPhoto(t.Context(), id, data, "", "", Command{Key: name, Device: "tablet1", Author: "ines"}); !errors.Is(err, ErrBadCommand) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// photograph is a small JPEG.
func photograph(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 40, 30)), nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
