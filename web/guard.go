package web

import (
	"context"
	"net"
	"net/http"
	"runtime/debug"
	"strings"
)

// policy is the Content-Security-Policy of every answer. Nothing is loaded from
// elsewhere and nothing in the page itself runs.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; " +
	"connect-src 'self'; font-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// guard is what every request passes: who it is for, where it came from, and a
// net under what goes wrong.
func (s *Server) guard(next http.Handler) http.Handler {
	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, &Problem{Status: http.StatusForbidden, Kind: "other_origin"})
	}))
	checked := origin.Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		// Not no-referrer: with it a browser sends "Origin: null" with its own forms.
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(self), microphone=(self), geolocation=()")
		defer func() {
			if v := recover(); v != nil {
				if v == http.ErrAbortHandler {
					panic(v)
				}
				s.log.Error("a handler panicked", "path", r.URL.Path, "panic", v, "stack", string(debug.Stack()))
				s.fail(w, r, &Problem{Status: http.StatusInternalServerError, Kind: "internal"})
			}
		}()
		if !s.knows(r.Host) {
			s.fail(w, r, &Problem{Status: http.StatusMisdirectedRequest, Kind: "other_host", Args: []any{r.Host}})
			return
		}
		checked.ServeHTTP(w, r)
	})
}

// knows reports whether a Host header names this machine. A page elsewhere that
// points its own name at a shop's address (DNS rebinding) is stopped here: its
// name is not one of ours, while addresses cannot be rebound.
func (s *Server) knows(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.TrimSuffix(strings.ToLower(strings.Trim(name, "[]")), ".")
	if name == "localhost" || net.ParseIP(name) != nil {
		return true
	}
	for _, n := range s.o.Names {
		if strings.EqualFold(n, name) {
			return true
		}
	}
	return false
}

// timed ends the context of a request that takes too long.
func timed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ctx, cancel := context.WithTimeout(r.Context(), requestTime)
		defer cancel()
		next.ServeHTTP(w, r.WithContext(ctx))
	})
}
