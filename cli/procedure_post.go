package cli

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"proveout/procedure"
	"proveout/procedure/watch"
)

// maxPost is the largest body of posted samples.
const maxPost = 1 << 20

// poster takes samples posted as CSV or JSON lines. A post needs a token that is bound
// to this run's job, the device that posts and the measuring point: one that was given
// out for another of them is turned away.
type poster struct {
	ctx  context.Context
	key  []byte // of this run alone
	job  string
	m    *procedure.Machine
	out  chan<- row
	seen []stamper // one clock for all posts to a watch
}

func newPoster(ctx context.Context, m *procedure.Machine, job string, out chan<- row) (*poster, error) {
	p := &poster{ctx: ctx, key: make([]byte, 32), job: job, m: m, out: out, seen: make([]stamper, len(m.Watches))}
	_, err := rand.Read(p.key)
	return p, err
}

// token binds job, device, watch and point: a MAC over all four.
func (p *poster) token(job, device, id, point string) string {
	mac := hmac.New(sha256.New, p.key)
	for _, s := range []string{job, device, id, point} {
		fmt.Fprintf(mac, "%d:%s", len(s), s)
	}
	return hex.EncodeToString(mac.Sum(nil)[:16])
}

// address is where a device posts to a watch, without the host.
func (p *poster) address(device string, w int) string {
	q := url.Values{"job": {p.job}, "device": {device}, "point": {p.m.Watches[w].Point}}
	return "/watch/" + url.PathEscape(p.m.Watches[w].ID) + "?" + q.Encode()
}

func (p *poster) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	id, found := strings.CutPrefix(r.URL.Path, "/watch/")
	n := -1
	for i := range p.m.Watches {
		if p.m.Watches[i].ID == id && found {
			n = i
		}
	}
	q := r.URL.Query()
	job, device, point := q.Get("job"), q.Get("device"), q.Get("point")
	want := "Bearer " + p.token(job, device, id, point)
	switch {
	case !loopback(r.Host):
		http.Error(w, "this listens on this machine only", http.StatusForbidden)
		return
	case r.Header.Get("Origin") != "":
		http.Error(w, "not from a page of another site", http.StatusForbidden)
		return
	case r.Method != http.MethodPost:
		http.Error(w, "post samples here", http.StatusMethodNotAllowed)
		return
	case !hmac.Equal([]byte(r.Header.Get("Authorization")), []byte(want)):
		http.Error(w, "the token for this job, device and measuring point is needed", http.StatusUnauthorized)
		return
	case n < 0 || job != p.job || point != p.m.Watches[n].Point:
		http.Error(w, "this run has no such watch at that measuring point", http.StatusNotFound)
		return
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxPost))
	if err != nil {
		http.Error(w, "the body is too long or was cut off", http.StatusRequestEntityTooLarge)
		return
	}
	var lines watch.Lines
	rows := append(lines.Write(body), lines.Close()...)
	send(p.ctx, &p.seen[n], n, rows, p.out)
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	fmt.Fprintf(w, "%d samples, %d lines not understood\n", len(rows), lines.Bad)
}

// loopback: the host of a request or an address is this machine.
func loopback(hostport string) bool {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		host = hostport
	}
	ip := net.ParseIP(strings.Trim(host, "[]"))
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// listenSamples serves a poster on an address of this machine.
func listenSamples(ctx context.Context, address string, p *poster) (string, error) {
	if !loopback(address) {
		return "", fmt.Errorf("--listen %s: samples are taken from this machine only; write for example 127.0.0.1:0", address)
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return "", err
	}
	srv := &http.Server{Handler: p, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 10 * time.Second, MaxHeaderBytes: 8 << 10}
	go srv.Serve(l)
	go func() { <-ctx.Done(); srv.Close() }()
	return l.Addr().String(), nil
}
