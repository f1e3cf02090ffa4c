package lan

import (
	"crypto/tls"
	"net/netip"
	"slices"
	"sync"
	"time"
)

// renewBefore: a certificate is made anew when it has less than this left.
const renewBefore = 30 * 24 * time.Hour

// Certificates gives a server its certificate, and makes it anew when it runs out or
// when the machine has got another address: a router hands those out as it likes.
type Certificates struct {
	authority *Authority
	addresses func() ([]netip.Addr, error)
	now       func() time.Time

	mu     sync.Mutex
	has    tls.Certificate
	signed []netip.Addr
	looked time.Time
}

// NewCertificates makes certificates by the authority for the addresses of this
// machine.
func NewCertificates(a *Authority, now func() time.Time) *Certificates {
	return &Certificates{authority: a, addresses: Addresses, now: now}
}

// TLS is a server's configuration.
func (c *Certificates) TLS() *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}, GetCertificate: c.get}
}

func (c *Certificates) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.now()
	if c.has.Leaf != nil && now.Sub(c.looked) < time.Minute && now.Sub(c.looked) >= 0 {
		return &c.has, nil
	}
	addrs, err := c.addresses()
	if err != nil {
		return nil, err
	}
	addrs = append(addrs, netip.MustParseAddr("127.0.0.1"), netip.IPv6Loopback())
	c.looked = now
	if c.has.Leaf != nil && slices.Equal(addrs, c.signed) && now.Add(renewBefore).Before(c.has.Leaf.NotAfter) && now.After(c.has.Leaf.NotBefore) {
		return &c.has, nil
	}
	names := []string{"localhost"}
	if n := Name(); n != "" {
		names = append(names, n)
	}
	cert, err := c.authority.Server(names, addrs, now)
	if err != nil {
		return nil, err
	}
	c.has, c.signed = cert, addrs
	return &c.has, nil
}
