package lan

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"io"
	"net"
	"net/http"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var day1 = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

func authority(t *testing.T) *Authority {
	t.Helper()
	a, err := NewAuthority("Quay Lane Garage", day1)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// verify asks Go's own verifier, which knows nothing of this package.
func verify(a *Authority, cert tls.Certificate, host string, at time.Time) error {
	roots := x509.NewCertPool()
	roots.AddCert(a.cert)
	_, err := cert.Leaf.Verify(x509.VerifyOptions{DNSName: host, Roots: roots, CurrentTime: at, KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}})
	return err
}

func TestCertificateOfThisNetworkIsAccepted(t *testing.T) {
	a := authority(t)
	cert, err := a.Server([]string{"bench.local", "localhost"}, []netip.Addr{netip.MustParseAddr("192.168.1.20"), netip.MustParseAddr("fd00::20")}, day1)
	if err != nil {
		t.Fatal(err)
	}
	for _, host := range []string{"bench.local", "localhost", "192.168.1.20", "fd00::20"} {
		if err := verify(a, cert, host, day1); err != nil {
			t.Errorf("%s: %v", host, err)
		}
	}
	if err := verify(a, cert, "192.168.1.21", day1); err == nil {
		t.Error("an address that was not signed for is accepted")
	}
	if err := verify(a, cert, "bench.local", day1.Add(serverLife+time.Hour)); err == nil {
		t.Error("it is accepted after its time")
	}
}

// TestCertificateOutsideTheConstraintsIsRefused: someone has stolen the key and signs
// past Server's own check. Go's verifier must refuse what comes of it.
func TestCertificateOutsideTheConstraintsIsRefused(t *testing.T) {
	a := authority(t)
	tests := []struct {
		name, host string
		names      []string
		ips        []net.IP
	}{
		{"a public name", "bank.example.com", []string{"bank.example.com"}, nil},
		{"a public name that ends alike", "notlocal", []string{"notlocal"}, nil},
		{"a public address", "203.0.113.7", nil, []net.IP{net.IPv4(203, 0, 113, 7).To4()}},
		{"a public IPv6 address", "2001:db8::1", nil, []net.IP{net.ParseIP("2001:db8::1")}},
		{"a public name beside one of this network", "bench.local", []string{"bench.local", "bank.example.com"}, nil},
		{"just above 172.16/12", "172.32.0.1", nil, []net.IP{net.IPv4(172, 32, 0, 1).To4()}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			cert, err := a.sign(tt.names, tt.ips, day1)
			if err != nil {
				t.Fatal(err)
			}
			var invalid x509.CertificateInvalidError
			err = verify(a, cert, tt.host, day1)
			if !errors.As(err, &invalid) || invalid.Reason != x509.CANotAuthorizedForThisName {
				t.Errorf("got %v, want a refusal for its name", err)
			}
		})
	}
}

// TestAuthorityMakesNoAuthority: path length 0, checked by Go's verifier.
func TestAuthorityMakesNoAuthority(t *testing.T) {
	a := authority(t)
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	serial, err := newSerial()
	if err != nil {
		t.Fatal(err)
	}
	sub := &x509.Certificate{SerialNumber: serial, Subject: pkix.Name{CommonName: "below"}, NotBefore: day1, NotAfter: day1.Add(time.Hour), IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, sub, a.cert, key.Public(), a.key)
	if err != nil {
		t.Fatal(err)
	}
	below, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	leaf, err := (&Authority{cert: below, key: key}).sign([]string{"bench.local"}, nil, day1)
	if err != nil {
		t.Fatal(err)
	}
	roots, between := x509.NewCertPool(), x509.NewCertPool()
	roots.AddCert(a.cert)
	between.AddCert(below)
	_, err = leaf.Leaf.Verify(x509.VerifyOptions{DNSName: "bench.local", Roots: roots, Intermediates: between, CurrentTime: day1.Add(time.Minute)})
	var invalid x509.CertificateInvalidError
	if !errors.As(err, &invalid) || invalid.Reason != x509.TooManyIntermediates {
		t.Errorf("got %v, want a refusal for the path's length", err)
	}
}

func TestServerRefusesWhatTabletsWouldRefuse(t *testing.T) {
	a := authority(t)
	tests := []struct {
		name, say string
		names     []string
		ips       []netip.Addr
		at        time.Time
	}{
		{"public name", "not a name of this network", []string{"example.com"}, nil, day1},
		{"bare host name", "not a name of this network", []string{"bench"}, nil, day1},
		{"public address", "public address", nil, []netip.Addr{netip.MustParseAddr("198.51.100.4")}, day1},
		{"nothing", "needs a name or an address", nil, nil, day1},
		{"clock before the authority", "set the clock", []string{"bench.local"}, nil, day1.AddDate(-1, 0, 0)},
		{"clock after the authority", "set the clock", []string{"bench.local"}, nil, day1.AddDate(11, 0, 0)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := a.Server(tt.names, tt.ips, tt.at); err == nil || !strings.Contains(err.Error(), tt.say) {
				t.Errorf("got %v, want %q in it", err, tt.say)
			}
		})
	}
}

func TestAuthorityIsKept(t *testing.T) {
	dir := filepath.Join(t.TempDir(), Folder)
	made, err := OpenAuthority(dir, "Quay Lane Garage", day1)
	if err != nil {
		t.Fatal(err)
	}
	again, err := OpenAuthority(dir, "another name", day1.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if made.Fingerprint() != again.Fingerprint() {
		t.Error("opening it again made another authority")
	}
	st, err := os.Stat(filepath.Join(dir, keyFile))
	if err != nil {
		t.Fatal(err)
	}
	if st.Mode().Perm() != 0o600 {
		t.Errorf("the key is readable by others: %v", st.Mode())
	}
	if _, err := OpenAuthority(filepath.Join(t.TempDir(), "elsewhere"), "x", day1); err == nil {
		t.Error("a folder that a backup would take is accepted")
	}
	if err := os.Remove(filepath.Join(dir, keyFile)); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenAuthority(dir, "x", day1); err == nil || !strings.Contains(err.Error(), "every tablet") {
		t.Errorf("without its key: %v", err)
	}
}

func TestForeignKeyIsRefused(t *testing.T) {
	dir := filepath.Join(t.TempDir(), Folder)
	if _, err := OpenAuthority(dir, "one", day1); err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(t.TempDir(), Folder)
	if _, err := OpenAuthority(other, "two", day1); err != nil {
		t.Fatal(err)
	}
	key, err := os.ReadFile(filepath.Join(other, keyFile))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, keyFile), key, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenAuthority(dir, "one", day1); err == nil || !strings.Contains(err.Error(), "does not belong") {
		t.Errorf("got %v", err)
	}
}

// TestServeAndRenew runs a real TLS server and a client that trusts the authority
// only, then moves the machine to another address and lets a year pass.
func TestServeAndRenew(t *testing.T) {
	now := time.Now()
	a, err := NewAuthority("", now)
	if err != nil {
		t.Fatal(err)
	}
	addrs := []netip.Addr{netip.MustParseAddr("192.168.1.20")}
	c := NewCertificates(a, func() time.Time { return now })
	c.addresses = func() ([]netip.Addr, error) { return addrs, nil }
	// Not httptest: it would put a certificate of its own in front.
	l, err := tls.Listen("tcp", "127.0.0.1:0", c.TLS())
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	go http.Serve(l, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "board") }))
	roots := x509.NewCertPool()
	roots.AddCert(a.cert)
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}}}
	res, err := client.Get("https://" + l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	serial := func() string {
		cert, err := c.get(nil)
		if err != nil {
			t.Fatal(err)
		}
		return cert.Leaf.SerialNumber.String()
	}
	first := serial()
	now = now.Add(2 * time.Minute)
	if serial() != first {
		t.Error("a new certificate without a reason")
	}
	addrs = []netip.Addr{netip.MustParseAddr("10.0.0.7")}
	now = now.Add(2 * time.Minute)
	second := serial()
	if second == first {
		t.Error("the machine has another address and keeps its certificate")
	}
	now = now.Add(serverLife - renewBefore + time.Hour)
	if serial() == second {
		t.Error("a certificate that runs out is kept")
	}
}
