package lan

import (
	"crypto"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// Folder is the name of the folder, inside the workbench's own, that holds the
// authority. It is never part of a backup.
const Folder = "authority"

const (
	certFile = "certificate.pem"
	keyFile  = "key.pem"
)

// OpenAuthority reads the authority kept in dir (a path ending in Folder), or makes
// one and keeps it there when there is none yet.
func OpenAuthority(dir, shop string, now time.Time) (*Authority, error) {
	if filepath.Base(dir) != Folder {
		return nil, fmt.Errorf("%s: the authority lies in a folder named %q, so that a backup can leave it out", dir, Folder)
	}
	a, err := readAuthority(dir)
	if !errors.Is(err, os.ErrNotExist) {
		return a, err
	}
	if a, err = NewAuthority(shop, now); err != nil {
		return nil, err
	}
	if err := writeAuthority(dir, a); err != nil {
		return nil, fmt.Errorf("keep the authority: %w", err)
	}
	return a, nil
}

func readAuthority(dir string) (*Authority, error) {
	der, err := readPEM(filepath.Join(dir, certFile), "CERTIFICATE")
	if err != nil {
		return nil, err
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", filepath.Join(dir, certFile), err)
	}
	path := filepath.Join(dir, keyFile)
	der, err = readPEM(path, "PRIVATE KEY")
	if errors.Is(err, os.ErrNotExist) {
		// Making another would leave every tablet with a certificate that counts for
		// nothing, without a word.
		return nil, fmt.Errorf("%s is missing while its certificate is there: put the key back, or delete %s to make a new authority and install it on every tablet again", path, dir)
	}
	if err != nil {
		return nil, err
	}
	key, err := x509.ParsePKCS8PrivateKey(der)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	signer, ok := key.(crypto.Signer)
	if !ok {
		return nil, fmt.Errorf("%s: a key of this kind cannot sign", path)
	}
	pub, ok := cert.PublicKey.(interface{ Equal(crypto.PublicKey) bool })
	if !ok || !pub.Equal(signer.Public()) {
		return nil, fmt.Errorf("%s does not belong to the certificate beside it", path)
	}
	return &Authority{cert: cert, key: signer}, nil
}

func readPEM(path, kind string) ([]byte, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	b, _ := pem.Decode(data)
	if b == nil || b.Type != kind {
		return nil, fmt.Errorf("%s holds no %s", path, kind)
	}
	return b.Bytes, nil
}

// writeAuthority writes the key before the certificate: readAuthority looks for the
// certificate first, so a machine that dies in between makes both anew.
func writeAuthority(dir string, a *Authority) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	der, err := x509.MarshalPKCS8PrivateKey(a.key)
	if err != nil {
		return err
	}
	if err := writePEM(filepath.Join(dir, keyFile), "PRIVATE KEY", der); err != nil {
		return err
	}
	return writePEM(filepath.Join(dir, certFile), "CERTIFICATE", a.cert.Raw)
}

func writePEM(path, kind string, der []byte) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	err = pem.Encode(f, &pem.Block{Type: kind, Bytes: der})
	return errors.Join(err, f.Sync(), f.Close())
}
