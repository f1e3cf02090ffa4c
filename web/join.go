package web

import (
	"html/template"
	"net/http"

	"proveout/lan"
)

// Network is how other devices reach this machine.
type Network struct {
	Plain     string         // http://192.168.1.20:8040, without a last slash; empty: this machine only
	Secure    string         // the same over TLS; empty: not served
	Authority *lan.Authority // whose certificate a device installs; nil: none
}

func init() {
	routes = append(routes,
		route{pattern: "GET /join", serve: joinPage},
		route{pattern: "GET /join/proveout.crt", serve: joinCertificate},
		route{pattern: "GET /alive", serve: alive},
		route{pattern: "GET /sw.js", serve: serviceWorker},
	)
}

// joinView is what the join page shows.
type joinView struct {
	Plain, Secure         string
	PlainCode, SecureCode template.HTML // SVG of package lan: digits and paths only
	Fingerprint           string
	Here                  bool // this page came over TLS: the certificate is trusted
}

func joinPage(s *Server, w http.ResponseWriter, r *http.Request) error {
	v := joinView{Plain: s.o.Network.Plain, Secure: s.o.Network.Secure, Here: r.TLS != nil}
	t := s.printer(r)
	for _, x := range []struct {
		url, label string
		to         *template.HTML
	}{
		{v.Plain, t.T("offline.join.code_plain"), &v.PlainCode},
		{v.Secure, t.T("offline.join.code_secure"), &v.SecureCode},
	} {
		if x.url == "" {
			continue
		}
		path := "/join"
		if x.url == v.Secure {
			path = "/"
		}
		code, err := lan.NewCode(x.url + path)
		if err != nil {
			return err
		}
		*x.to = template.HTML(code.SVG(x.label))
	}
	if a := s.o.Network.Authority; a != nil {
		v.Fingerprint = a.Fingerprint()
	}
	return s.page(w, r, sheet{Name: "join", Title: t.T("offline.join.title"), Styles: []string{"join.css"}, View: v})
}

// joinCertificate hands out the authority's certificate. The type makes a device offer
// to install it. No private key is ever served.
func joinCertificate(s *Server, w http.ResponseWriter, r *http.Request) error {
	a := s.o.Network.Authority
	if a == nil {
		return notFound(s, w, r)
	}
	h := w.Header()
	h.Set("Content-Type", "application/x-x509-ca-cert")
	h.Set("Content-Disposition", `attachment; filename="proveout.crt"`)
	h.Set("Cache-Control", "no-store")
	_, err := w.Write(a.Certificate())
	return err
}

// alive answers nothing: a page asks whether the server is there.
func alive(_ *Server, w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// serviceWorker is an asset that must lie at the root: it can keep pages only from
// where it lies downwards.
func serviceWorker(s *Server, w http.ResponseWriter, r *http.Request) error {
	a := s.assets["sw.js"]
	h := w.Header()
	h.Set("Content-Type", a.kind)
	h.Set("Cache-Control", "no-cache")
	_, err := w.Write(a.plain)
	return err
}
