package files

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"proveout/store"
)

// keyPath is the file of a customer's key. Ids are opaque, and written in hex so
// that no id is a path.
func (f *Folder) keyPath(customer string) string {
	return filepath.Join(f.dir, "keys", hex.EncodeToString([]byte(customer))+".key")
}

const keyBytes = 32 // AES-256

// key reads a customer's key; with make it makes one when there is none.
func (f *Folder) key(customer string, make bool) ([]byte, error) {
	if customer == "" || len(customer) > 100 {
		return nil, errors.New("a customer's id has 1 to 100 bytes")
	}
	key, err := os.ReadFile(f.keyPath(customer))
	switch {
	case err == nil && len(key) == keyBytes:
		return key, nil
	case err == nil:
		return nil, &store.Damaged{File: f.keyPath(customer), Why: fmt.Errorf("a key has %d bytes, this one %d", keyBytes, len(key))}
	case !errors.Is(err, fs.ErrNotExist) || !make:
		return nil, err
	case f.opts.ReadOnly:
		return nil, store.ErrReadOnly
	}
	f.mu.Lock() // two writers must not make two keys
	defer f.mu.Unlock()
	if key, err := os.ReadFile(f.keyPath(customer)); err == nil {
		return key, nil
	}
	key = newKey()
	return key, full(WriteWhole(f.keyPath(customer), key, 0o600))
}

func newKey() []byte {
	key := make([]byte, keyBytes)
	_, _ = rand.Read(key) // never fails: it ends the program instead
	return key
}

// Seal encrypts personal data of a customer with AES-256-GCM. The label is bound
// to it, so that no row can be passed off as another.
func (f *Folder) Seal(customer, label string, plain []byte) ([]byte, error) {
	key, err := f.key(customer, true)
	if err != nil {
		return nil, err
	}
	gcm, err := newGCM(key)
	if err != nil {
		return nil, err
	}
	nonce := make([]byte, gcm.NonceSize(), gcm.NonceSize()+len(plain)+gcm.Overhead())
	_, _ = rand.Read(nonce)
	return gcm.Seal(nonce, nonce, plain, []byte(customer+"\x00"+label)), nil
}

// Unseal is Seal backwards. ErrErased when the key is gone.
func (f *Folder) Unseal(customer, label string, sealed []byte) ([]byte, error) {
	key, err := f.key(customer, false)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, store.ErrErased
	}
	if err != nil {
		return nil, err
	}
	gcm, err := newGCM(key)
	if err != nil {
		return nil, err
	}
	if len(sealed) < gcm.NonceSize() {
		return nil, &store.Damaged{File: "personal data " + label, Why: errors.New("too short")}
	}
	plain, err := gcm.Open(nil, sealed[:gcm.NonceSize()], sealed[gcm.NonceSize():], []byte(customer+"\x00"+label))
	if err != nil {
		return nil, &store.Damaged{File: "personal data " + label, Why: err}
	}
	return plain, nil
}

func newGCM(key []byte) (cipher.AEAD, error) {
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, err
	}
	return cipher.NewGCM(block)
}

// DestroyKey overwrites a customer's key and removes it. On disks that keep old
// blocks (SSD, snapshots) the overwritten key may outlive this: erase those copies
// by their own means.
func (f *Folder) DestroyKey(customer string) error {
	if f.opts.ReadOnly {
		return store.ErrReadOnly
	}
	p := f.keyPath(customer)
	file, err := os.OpenFile(p, os.O_WRONLY, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	_, err = file.WriteAt(newKey(), 0)
	err = errors.Join(err, file.Sync(), file.Close())
	return errors.Join(err, os.Remove(p), SyncDir(filepath.Dir(p)))
}
