package browser

import (
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"encoding/pem"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"proveout/lan"
	"proveout/web"
)

// TestOverTLSOfTheShopsOwnAuthority: the certificate comes from the join page, is put
// into an empty browser the way a person installs it, and then the shop's address is
// trusted by it alone: the service worker keeps the page, it reloads while the server
// is away, and what is tapped there is merged. Without the certificate the browser
// refuses the address.
func TestOverTLSOfTheShopsOwnAuthority(t *testing.T) {
	if _, err := exec.LookPath("certutil"); err != nil {
		t.Skip("NOT RUN: certutil (Debian: libnss3-tools) is not here; it installs a certificate in Chromium")
	}
	authority, err := lan.OpenAuthority(filepath.Join(t.TempDir(), lan.Folder), "Quarry Lane Garage", time.Now())
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	_, port, err := net.SplitHostPort(listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	address := "https://127.0.0.1:" + port
	w := openShopOn(t, web.Network{Secure: address, Authority: authority})
	c := &cable{server: w.server}
	server := &http.Server{Handler: c, TLSConfig: lan.NewCertificates(authority, time.Now).TLS(), TLSNextProto: map[string]func(*http.Server, *tls.Conn, http.Handler){}, ReadHeaderTimeout: time.Minute}
	go func() { _ = server.ServeTLS(listener, "", "") }() // ends with the test
	t.Cleanup(func() { server.Close() })

	stranger := w.browser(834)
	stranger.cable, stranger.url = c, address
	if _, err := chromedp.Run(stranger.ctx, chromedp.Navigate(address+"/who")); err == nil || !strings.Contains(err.Error(), "ERR_CERT_AUTHORITY_INVALID") {
		t.Errorf("without the certificate the address opens: %v", err)
	}

	home := t.TempDir()
	install(t, w, authority, home)
	b := w.browser(834, chromedp.Env("HOME="+home))
	b.cable, b.url = c, address
	b.unlock()
	at := "/jobs/" + w.received()
	b.open(at)
	if !js[bool](b, `isSecureContext && location.protocol === 'https:'`) {
		t.Fatal("the page is not secure")
	}
	b.until("the service worker", `navigator.serviceWorker.controller`)
	b.open(at)
	b.until("the tier to be said", `document.getElementById('tier').textContent.includes('reloads')`)
	b.until("the page to be kept", `caches.match(location.pathname).then((r) => { window.__kept = !!r; }), window.__kept`)
	b.pull()
	b.open(at)
	b.until("the page from the device", `document.querySelector('#complaint') && document.getElementById('tier').classList.contains('away')`)
	js[bool](b, `(document.querySelector('#work input[name=type][value=note]').closest('details').open = true)`)
	b.fill("#work textarea[name=text]", "typed on a page that came from the device")
	b.tap("#work form:has(input[value=note]) button.act")
	b.until("the note to be kept here", `!document.getElementById('waiting').hidden`)
	b.skip(2 * time.Minute)
	b.back()
	v, err := b.bench.Job(t.Context(), strings.TrimPrefix(at, "/jobs/"))
	if err != nil || len(v.Notes) != 1 {
		t.Errorf("after the merge %+v, %v", v.Notes, err)
	}
	b.noErrors()
}

// install gets the certificate as a tablet does, holds its fingerprint against the one
// that the page shows, and puts it among those that Chromium trusts under home.
func install(t *testing.T, w *workshop, authority *lan.Authority, home string) {
	t.Helper()
	plain := w.device(390)
	plain.open("/join")
	if !strings.Contains(plain.text("main"), authority.Fingerprint()) {
		t.Error("the join page does not show the fingerprint")
	}
	res, err := http.Get(plain.url + "/join/proveout.crt")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	if block, _ := pem.Decode(body); block != nil {
		body = block.Bytes
	}
	if sum := sha256.Sum256(body); !strings.EqualFold(hex.EncodeToString(sum[:]), strings.ReplaceAll(authority.Fingerprint(), " ", "")) {
		t.Fatalf("the join page hands out %x", sum)
	}
	db, file := filepath.Join(home, ".pki", "nssdb"), filepath.Join(home, "proveout.crt")
	if err := os.MkdirAll(db, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, body, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"-N", "--empty-password"}, {"-A", "-n", "proveout", "-t", "C,,", "-i", file}} {
		if out, err := exec.Command("certutil", append([]string{"-d", "sql:" + db}, args...)...).CombinedOutput(); err != nil {
			t.Fatalf("certutil %v: %v %s", args, err, out)
		}
	}
}
