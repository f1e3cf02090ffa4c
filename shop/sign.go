package shop

import (
	"crypto/ed25519"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"proveout/job"
	"proveout/store"
	"proveout/store/files"
)

// A chain that somebody hashed anew from its first entry on fits together again.
// What it does not have is the shop's signature under its end: after every entry
// the end of its device's chain is signed with the shop's key (Ed25519), in the
// same transaction. The key lies beside the store, in no backup unless asked for.

// Names of the key files in the folder of a store.
const (
	keyFile = "shop.key" // 32 bytes in hex: the seed of the key. Secret
	// What anybody checks with: 32 bytes in hex, a line for each key the shop ever
	// had. A shop restored from a backup without its key goes on with a new one.
	pubFile = "shop.pub"
)

// ShopKey is the shop's signing key.
type ShopKey struct{ private ed25519.PrivateKey }

// LoadShopKey reads the shop's key in a store's folder, and makes one where there
// is none.
func LoadShopKey(dir string) (*ShopKey, error) {
	path := filepath.Join(dir, keyFile)
	data, err := os.ReadFile(path)
	switch {
	case err == nil:
		seed, err := hex.DecodeString(strings.TrimSpace(string(data)))
		if err != nil || len(seed) != ed25519.SeedSize {
			return nil, fmt.Errorf("%s is no key of a shop: it holds 64 hex digits", path)
		}
		return &ShopKey{ed25519.NewKeyFromSeed(seed)}, nil
	case !errors.Is(err, fs.ErrNotExist):
		return nil, err
	}
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, err
	}
	k := &ShopKey{private}
	before, err := PublicKeys(dir)
	if err != nil {
		return nil, err
	}
	// The public half first: without the secret one nothing is signed yet.
	public := strings.Join(append(before, k.Public()), "\n") + "\n"
	if err := files.WriteWhole(filepath.Join(dir, pubFile), []byte(public), 0o644); err != nil {
		return nil, err
	}
	return k, files.WriteWhole(path, []byte(hex.EncodeToString(private.Seed())+"\n"), 0o600)
}

// Public is the public half in hex.
func (k *ShopKey) Public() string {
	return hex.EncodeToString(k.private.Public().(ed25519.PublicKey))
}

// sign signs the end of a device's chain.
func (k *ShopKey) sign(jobID, device string, h job.Head) store.SignedHead {
	s := store.SignedHead{Device: device, Head: h, Key: k.Public()}
	s.Signature = hex.EncodeToString(ed25519.Sign(k.private, headMessage(jobID, device, h)))
	return s
}

// headMessage is what is signed. Ids hold no line end: they would have been refused
// as part of an entry that signs for another.
func headMessage(jobID, device string, h job.Head) []byte {
	return fmt.Appendf(nil, "proveout/head/1\n%q\n%q\n%d\n%s\n", jobID, device, h.Sequence, h.Digest)
}

// checkHead says what is wrong with a signed head; keys are those it may be signed
// with, in full or as printed; none: the one it names.
func checkHead(jobID string, s store.SignedHead, keys []string) error {
	print := fingerprint(s.Key)
	if len(keys) > 0 && !slices.ContainsFunc(keys, func(k string) bool { return strings.EqualFold(k, s.Key) || strings.EqualFold(k, print) }) {
		return fmt.Errorf("signed with the key %s, not with the shop's key %s", print, shortKey(keys[len(keys)-1]))
	}
	public, err := hex.DecodeString(s.Key)
	if err != nil || len(public) != ed25519.PublicKeySize {
		return errors.New("its key is no Ed25519 key in hex")
	}
	signature, err := hex.DecodeString(s.Signature)
	if err != nil || !ed25519.Verify(public, headMessage(jobID, s.Device, s.Head), signature) {
		return errors.New("the signature is not right: the head was changed after it was signed")
	}
	return nil
}

// fingerprint is the short form of a public key, as export and verify print it, to be noted down: 16
// hex digits in groups of four.
func fingerprint(public string) string {
	raw, err := hex.DecodeString(public)
	if err != nil {
		raw = []byte(public)
	}
	sum := sha256.Sum256(raw)
	h := hex.EncodeToString(sum[:8])
	return h[:4] + "-" + h[4:8] + "-" + h[8:12] + "-" + h[12:]
}

// shortKey is the fingerprint of a key that may be one already.
func shortKey(key string) string {
	if len(key) != 2*ed25519.PublicKeySize {
		return key
	}
	return fingerprint(key)
}

// PublicKeys reads the public keys of a store, the one in use last; none when
// nothing was signed there yet.
func PublicKeys(dir string) ([]string, error) {
	data, err := os.ReadFile(filepath.Join(dir, pubFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	return strings.Fields(string(data)), err
}

// Secret is a secret of the shop for one purpose, the same after a restart: it is
// drawn from the shop's key and says nothing about it.
func (b *Bench) Secret(purpose string) ([]byte, error) {
	k, err := b.key()
	if err != nil {
		return nil, fmt.Errorf("the shop's key: %w", err)
	}
	return hkdf.Key(sha256.New, k.private.Seed(), nil, "proveout/"+purpose, sha256.Size)
}
