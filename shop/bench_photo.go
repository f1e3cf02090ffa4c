package shop

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"image"
	_ "image/jpeg" // decoders of what a camera gives
	_ "image/png"
	"net/http"

	"proveout/job"
	"proveout/store"
)

// MostPhoto is the largest photograph that is taken (our choice: a phone's own at full
// size is 3 to 12 MB).
const MostPhoto = 20 << 20

// AddPhoto keeps a photograph of a job. It shows plates and people and may carry where
// it was taken, so it lies beside the chain, under the key of the customer: erasing the
// customer erases it. The record cites its hash.
func (b *Bench) AddPhoto(ctx context.Context, jobID string, picture []byte, place, note string, c Command) (Receipt, error) {
	switch kind := http.DetectContentType(picture); {
	case len(picture) == 0:
		return Receipt{}, fmt.Errorf("%w: the photograph is empty; take it again", ErrBadCommand)
	case len(picture) > MostPhoto:
		return Receipt{}, fmt.Errorf("%w: the photograph has %d MB, at most %d are taken; choose a smaller size in the camera", ErrBadCommand, len(picture)>>20, MostPhoto>>20)
	case kind != "image/jpeg" && kind != "image/png" && kind != "image/webp":
		return Receipt{}, fmt.Errorf("%w: this is no photograph (%s); JPEG, PNG and WebP are taken", ErrBadCommand, kind)
	}
	if kind := http.DetectContentType(picture); kind != "image/webp" { // the standard library reads no WebP
		if c, _, err := image.DecodeConfig(bytes.NewReader(picture)); err != nil || c.Width < 1 || c.Height < 1 {
			return Receipt{}, fmt.Errorf("%w: the photograph cannot be read (%s); take it again", ErrBadCommand, kind)
		}
	}
	state, err := b.State(ctx, jobID)
	if err != nil {
		return Receipt{}, err
	}
	raw := sha256.Sum256(picture) // not job.Digest, which is of a line without its end
	sum := hex.EncodeToString(raw[:])
	// First the picture, then the entry that cites it.
	if err := b.store.PutPersonal(ctx, photoKey(state, jobID), "photo/"+sum, picture); err != nil {
		return Receipt{}, err
	}
	c.Type = job.PhotoAddedType
	if c.Payload, err = json.Marshal(job.PhotoAdded{SHA256: sum, Size: int64(len(picture)), Place: place, Note: note}); err != nil {
		return Receipt{}, err
	}
	return b.Write(ctx, jobID, c)
}

// Photo gives a photograph of a job back, or store.ErrErased.
func (b *Bench) Photo(ctx context.Context, jobID, sum string) ([]byte, error) {
	state, err := b.State(ctx, jobID)
	if err != nil {
		return nil, err
	}
	for _, p := range state.Photos {
		if p.What.SHA256 == sum {
			return b.store.Personal(ctx, photoKey(state, jobID), "photo/"+sum)
		}
	}
	return nil, fmt.Errorf("job %s has no photograph %s: %w", jobID, sum, store.ErrNotFound)
}

// photoKey is whose key a photograph lies under: the customer's, or one of the job's
// own when it has no customer.
func photoKey(state *job.State, jobID string) string {
	if state.Customer != "" {
		return state.Customer
	}
	return "job-" + jobID
}
