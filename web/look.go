package web

import (
	"net/http"
	"net/url"
	"strings"

	"proveout/text"
)

// How the workbench looks and speaks on one device: kept in cookies, so that the
// first byte of a page already has it.
const (
	themeCookie = "theme"
	langCookie  = "lang"
)

func init() {
	routes = append(routes, route{pattern: "POST /look", serve: setLook})
}

// setLook changes theme or language on this device and goes back.
func setLook(_ *Server, w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r); err != nil {
		return err
	}
	switch v := r.PostForm.Get("theme"); v {
	case "bay", "dark":
		setCookie(w, themeCookie, v)
	}
	if v := r.PostForm.Get("lang"); text.Known(v) {
		setCookie(w, langCookie, v)
	}
	http.Redirect(w, r, ours(r.PostForm.Get("back")), http.StatusSeeOther)
	return nil
}

// setCookie keeps a choice for a year. It is no secret and scripts may read it.
func setCookie(w http.ResponseWriter, name, value string) {
	http.SetCookie(w, &http.Cookie{Name: name, Value: value, Path: "/", MaxAge: 365 * 24 * 3600, SameSite: http.SameSiteLaxMode})
}

// theme is the chosen theme, or "" to follow the device.
func theme(r *http.Request) string {
	if c, err := r.Cookie(themeCookie); err == nil && (c.Value == "bay" || c.Value == "dark") {
		return c.Value
	}
	return ""
}

// printer writes for the person at this device: the language chosen there or the
// browser's.
func (s *Server) printer(r *http.Request) *text.Printer {
	lang := text.Match(r.Header.Get("Accept-Language"))
	if c, err := r.Cookie(langCookie); err == nil && text.Known(c.Value) {
		lang = c.Value
	}
	return text.For(lang, s.system(r))
}

// system is the shop's system of units, read once and again when it was changed.
func (s *Server) system(r *http.Request) text.System {
	if u := s.units.Load(); u != nil {
		return *u
	}
	u := text.SI
	if s.bench != nil {
		have, err := s.shopSettings(r)
		if err != nil {
			return u // not kept: asked again next time
		}
		if have.Units == string(text.US) {
			u = text.US
		}
	}
	s.units.Store(&u)
	return u
}

func (s *Server) forgetSettings() { s.units.Store(nil) }

// ours is a path of this server to go back to; anything else becomes the board.
func ours(back string) string {
	u, err := url.Parse(back)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.Contains(back, "\\") {
		return "/"
	}
	return u.RequestURI()
}

// backTo is the page of ours that a request came from.
func backTo(r *http.Request) string {
	u, err := url.Parse(r.Referer())
	if err != nil || u.Host != r.Host {
		return "/"
	}
	return ours(u.RequestURI())
}
