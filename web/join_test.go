package web

import (
	"crypto/x509"
	"log/slog"
	"strings"
	"testing"
	"time"

	"proveout/lan"
)

func init() {
	samples["join"] = sample{empty: joinView{}, filled: joinView{Plain: "http://192.168.1.20:8040", Secure: "https://192.168.1.20:8041", PlainCode: "<svg></svg>", SecureCode: "<svg></svg>", Fingerprint: "AB12 CD34", Here: true}}
}

func TestJoinHandsOutTheCertificateAndNoKey(t *testing.T) {
	a, err := lan.NewAuthority("Quarry Lane Garage", time.Now())
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(nil, Options{Log: slog.New(slog.DiscardHandler), Network: Network{Plain: "http://192.168.1.20:8040", Secure: "https://192.168.1.20:8041", Authority: a}})
	if err != nil {
		t.Fatal(err)
	}
	page := do(t, s, "GET", "/join", "").Body.String()
	for _, want := range []string{a.Fingerprint(), "http://192.168.1.20:8040", "https://192.168.1.20:8041", "<svg"} {
		if !strings.Contains(page, want) {
			t.Errorf("the join page does not show %s", want)
		}
	}
	res := do(t, s, "GET", "/join/proveout.crt", "")
	cert, err := x509.ParseCertificate(res.Body.Bytes())
	if err != nil || !cert.IsCA || !cert.PermittedDNSDomainsCritical {
		t.Errorf("what is handed out: %v", err)
	}
	if strings.Contains(res.Body.String(), "PRIVATE KEY") || res.Header().Get("Content-Type") != "application/x-x509-ca-cert" {
		t.Errorf("handed out as %s", res.Header().Get("Content-Type"))
	}
}

func TestJoinWithoutANetwork(t *testing.T) {
	s := server(t)
	if got := do(t, s, "GET", "/join/proveout.crt", "").Code; got != 404 {
		t.Errorf("a certificate that is not there: %d", got)
	}
	if w := do(t, s, "GET", "/alive", ""); w.Code != 204 || w.Body.Len() != 0 {
		t.Errorf("alive: %d", w.Code)
	}
}

// TestScriptsShareOneFolder: a module that a page loads and one that a module imports
// must be the same address, or the browser runs it twice.
func TestScriptsShareOneFolder(t *testing.T) {
	s := server(t)
	addr, err := address(s.assets, "offline.js")
	if err != nil {
		t.Fatal(err)
	}
	folder := strings.TrimSuffix(addr, "offline.js")
	for _, name := range []string{"offline.js", "outbox.js"} {
		w := do(t, s, "GET", folder+name, "")
		if w.Code != 200 || !strings.Contains(w.Header().Get("Cache-Control"), "immutable") {
			t.Errorf("%s: %d %v", folder+name, w.Code, w.Header())
		}
	}
	if cc := do(t, s, "GET", "/assets/~000000000000/outbox.js", "").Header().Get("Cache-Control"); cc != "no-cache" {
		t.Errorf("an old version is kept: %s", cc)
	}
	if w := do(t, s, "GET", "/sw.js", ""); w.Code != 200 || !strings.Contains(w.Header().Get("Content-Type"), "javascript") {
		t.Errorf("service worker: %d %v", w.Code, w.Header())
	}
}
