package lan

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/hex"
	"fmt"
	"math/big"
	"net"
	"net/netip"
	"strings"
	"time"
)

const (
	authorityLife = 10 * 365 * 24 * time.Hour // our choice: longer than a tablet lasts
	// Browsers refuse server certificates that live longer than 398 days from a public
	// authority (CA/Browser Forum, Ballot SC31); a private one keeps to the same.
	serverLife = 397 * 24 * time.Hour
	// A clock in a shop may be off: a certificate counts from a day before it was made.
	backdate = 24 * time.Hour
)

// Authority can sign certificates for this network.
type Authority struct {
	cert *x509.Certificate
	key  crypto.Signer
}

// NewAuthority makes an authority for a shop. The shop's name appears on the tablet
// when the certificate is installed.
func NewAuthority(shop string, now time.Time) (*Authority, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("make the authority's key: %w", err)
	}
	serial, err := newSerial()
	if err != nil {
		return nil, err
	}
	t := &x509.Certificate{
		SerialNumber: serial,
		Subject:      pkix.Name{CommonName: strings.TrimSpace("Proveout " + shop + ", this network only"), Organization: []string{"Proveout"}},
		NotBefore:    now.Add(-backdate), NotAfter: now.Add(authorityLife),
		IsCA: true, BasicConstraintsValid: true, MaxPathLen: 0, MaxPathLenZero: true,
		KeyUsage:    x509.KeyUsageCertSign,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},

		PermittedDNSDomainsCritical: true, // covers the whole extension
		PermittedDNSDomains:         []string{"local", "localhost"},
		PermittedIPRanges:           permitted(),
	}
	der, err := x509.CreateCertificate(rand.Reader, t, t, key.Public(), key)
	if err != nil {
		return nil, fmt.Errorf("make the authority's certificate: %w", err)
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, err
	}
	return &Authority{cert: cert, key: key}, nil
}

func permitted() []*net.IPNet {
	var out []*net.IPNet
	for _, p := range private {
		out = append(out, &net.IPNet{IP: p.Addr().AsSlice(), Mask: net.CIDRMask(p.Bits(), p.Addr().BitLen())})
	}
	return out
}

func newSerial() (*big.Int, error) {
	n, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return nil, fmt.Errorf("make a serial number: %w", err)
	}
	return n.Add(n, big.NewInt(1)), nil
}

// Certificate is what a tablet installs, in DER.
func (a *Authority) Certificate() []byte { return a.cert.Raw }

// Fingerprint is the SHA-256 of the certificate in groups of four digits: the join
// page shows it, and the tablet shows it before it installs.
func (a *Authority) Fingerprint() string {
	sum := sha256.Sum256(a.cert.Raw)
	h := strings.ToUpper(hex.EncodeToString(sum[:]))
	var b strings.Builder
	for i := 0; i < len(h); i += 4 {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(h[i : i+4])
	}
	return b.String()
}

// Server signs a certificate for a server of this network. A name or address outside
// the authority's constraints is refused here, since every tablet would refuse it.
func (a *Authority) Server(names []string, addresses []netip.Addr, now time.Time) (tls.Certificate, error) {
	for _, n := range names {
		if n != "localhost" && !strings.HasSuffix(n, ".local") {
			return tls.Certificate{}, fmt.Errorf("%q is not a name of this network: only names under .local can be signed for", n)
		}
	}
	var ips []net.IP
	for _, ip := range addresses {
		if !Private(ip) {
			return tls.Certificate{}, fmt.Errorf("%s is a public address: only private addresses can be signed for", ip)
		}
		ips = append(ips, ip.Unmap().WithZone("").AsSlice())
	}
	if len(names)+len(ips) == 0 {
		return tls.Certificate{}, fmt.Errorf("a server's certificate needs a name or an address; this machine has no private one")
	}
	if now.Before(a.cert.NotBefore) || now.After(a.cert.NotAfter) {
		return tls.Certificate{}, fmt.Errorf("the authority counts from %s to %s and it is %s: set the clock, or make a new authority", day(a.cert.NotBefore), day(a.cert.NotAfter), day(now))
	}
	return a.sign(names, ips, now)
}

// sign makes the certificate without asking whether it keeps to the constraints.
func (a *Authority) sign(names []string, ips []net.IP, now time.Time) (tls.Certificate, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("make the server's key: %w", err)
	}
	serial, err := newSerial()
	if err != nil {
		return tls.Certificate{}, err
	}
	until := now.Add(serverLife)
	if until.After(a.cert.NotAfter) {
		until = a.cert.NotAfter
	}
	t := &x509.Certificate{
		SerialNumber: serial,
		Subject:      pkix.Name{CommonName: "Proveout workbench", Organization: []string{"Proveout"}},
		NotBefore:    now.Add(-backdate), NotAfter: until,
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		BasicConstraintsValid: true,
		DNSNames:              names, IPAddresses: ips,
	}
	der, err := x509.CreateCertificate(rand.Reader, t, a.cert, key.Public(), a.key)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("sign the server's certificate: %w", err)
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		return tls.Certificate{}, err
	}
	return tls.Certificate{Certificate: [][]byte{der, a.cert.Raw}, PrivateKey: key, Leaf: leaf}, nil
}

func day(t time.Time) string { return t.Format("2006-01-02") }
