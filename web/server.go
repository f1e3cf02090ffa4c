package web

import (
	"cmp"
	"crypto/rand"
	"errors"
	"log/slog"
	"net/http"
	"os"
	"slices"
	"sync/atomic"
	"time"

	"proveout/shop"
	"proveout/text"
)

// Options are what the person who starts the workbench may choose.
type Options struct {
	// Names by which browsers may call this machine, besides its addresses,
	// localhost and its own host name.
	Names []string
	// Shop is the shop's name, shown in the strip.
	Shop string
	// Network is how other devices reach this machine: the join page.
	Network Network
	Log     *slog.Logger     // nil: slog.Default
	Now     func() time.Time // nil: time.Now
	// DemoPIN is said on the page that asks for a PIN: only an invented shop has one.
	DemoPIN string
}

// Server answers browsers. It keeps no state of its own beyond templates, assets
// and the key that badges are signed with.
type Server struct {
	bench   *shop.Bench
	o       Options
	log     *slog.Logger
	now     func() time.Time
	assets  map[string]*asset
	pages   pageSet
	begun   begunUploads
	mux     *http.ServeMux
	api     http.Handler
	apiMux  *http.ServeMux
	handler http.Handler
	key     []byte // signs badges
	started time.Time
	boot    string // names this run: times of one run may be subtracted
	units   atomic.Pointer[text.System]
}

// New makes the server. An error is a fault of the build: a template or asset
// that does not read.
func New(bench *shop.Bench, o Options) (*Server, error) {
	s := &Server{bench: bench, o: o, log: o.Log, now: o.Now, key: make([]byte, 32), boot: "server-" + rand.Text()[:12]}
	_, _ = rand.Read(s.key) // never fails: it ends the program instead
	if s.log == nil {
		s.log = slog.Default()
	}
	if s.now == nil {
		s.now = time.Now
	}
	s.started = s.now()
	if host, err := os.Hostname(); err == nil {
		s.o.Names = append(slices.Clone(o.Names), host, host+".local")
	}
	var err error
	if s.assets, err = loadAssets(); err != nil {
		return nil, err
	}
	if s.pages, err = loadPages(s.assets); err != nil {
		return nil, err
	}
	s.api = s.newAPI()
	s.mux = http.NewServeMux()
	for _, rt := range routes {
		s.mux.Handle(rt.pattern, s.bound(rt))
	}
	s.mux.Handle("/", s.bound(route{serve: unrouted}))
	s.handler = s.guard(s.mux)
	return s, nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// HTTP is the net/http server with its time limits. Routes that stream lift
// theirs.
func (s *Server) HTTP() *http.Server {
	return &http.Server{
		Handler:           s,
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       requestTime + 5*time.Second,
		WriteTimeout:      requestTime + 10*time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
		ErrorLog:          slog.NewLogLogger(s.log.Handler(), slog.LevelDebug),
	}
}

// requestTime is how long an ordinary request may take, its body included. Our
// choice: a phone at the edge of the Wi-Fi still gets a page through.
const requestTime = 30 * time.Second

// handler answers a request or says why not; the error becomes an error page or
// a problem document.
type handler func(*Server, http.ResponseWriter, *http.Request) error

// route is one address of the workbench.
type route struct {
	pattern string // as net/http has it: "GET /jobs/{id}"
	serve   handler
	body    int64 // most bytes of a request's body; 0: 1 MiB
	stream  bool  // stays open (events, uploads): no time limit, no compression
}

// routes are added to by init functions of the parts.
var routes []route

const ordinaryBody = 1 << 20

// bound puts a route's limits around it.
func (s *Server) bound(rt route) http.Handler {
	limit := cmp.Or(rt.body, ordinaryBody)
	answer := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, limit)
		if rt.stream {
			c := http.NewResponseController(w)
			// Not every writer has deadlines (tests have none): then there is nothing to lift.
			if err := errors.Join(c.SetReadDeadline(time.Time{}), c.SetWriteDeadline(time.Time{})); err != nil && !errors.Is(err, http.ErrNotSupported) {
				s.log.Debug("no deadline lifted", "err", err)
			}
		}
		if err := rt.serve(s, w, r); err != nil {
			s.fail(w, r, err)
		}
	})
	if rt.stream {
		return answer
	}
	return compress(timed(answer))
}
