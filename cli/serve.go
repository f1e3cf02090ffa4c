package cli

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"proveout/demo"
	"proveout/examples"
	"proveout/lan"
	"proveout/shop"
	"proveout/store/sqlite"
	"proveout/web"
)

func init() { commands = append(commands, newServe, newDemo) }

func newServe() *cobra.Command {
	var o serving
	c := &cobra.Command{
		Use:   "serve --data DIR",
		Short: "Open the workbench to the browsers of the shop's network",
		Long: `Serves the workbench from one folder: the record, the captures and, in a
folder of its own, the key of the shop's authority for its own network. Phones
and tablets on the same network open the address that is printed, or read the
code with their camera. Nothing is loaded from elsewhere.

Over plain http the workbench works without being installed; over TLS, whose
certificate a device installs once (page "join"), its pages also survive a
server that is away, and the screen stays on.

Ctrl-C ends it; everything acknowledged is on disk.`,
		Example: `  proveout serve --data /srv/proveout
  proveout serve --data bench --address 127.0.0.1:8040`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return o.run(c, nil) },
	}
	o.flags(c)
	c.Flags().StringVar(&o.data, "data", "", "folder of the record and the captures; made if it is not there")
	c.Flags().StringVar(&o.shop, "shop", "", "name of the shop, until it is set in the settings")
	if err := c.MarkFlagRequired("data"); err != nil {
		panic(err) // the flag stands three lines above
	}
	return c
}

func newDemo() *cobra.Command {
	var o serving
	c := &cobra.Command{
		Use:   "demo",
		Short: "Open an invented shop with a job in every stage",
		Long: `Makes the workbench of an invented shop in a folder that is thrown away at
the end: several jobs in every stage, complete with captures, replayed through
the same commands that taps send. Every PIN is ` + demo.PIN + `.`,
		Example: "  proveout demo\n  proveout demo --address 127.0.0.1:8040",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			dir, err := os.MkdirTemp("", "proveout-demo-")
			if err != nil {
				return err
			}
			defer os.RemoveAll(dir)
			o.data, o.shop, o.demoPIN = dir, demo.ShopName, demo.PIN
			return o.run(c, func(ctx context.Context, b *shop.Bench) error {
				fmt.Fprintln(c.OutOrStdout(), "Opening the invented shop: the jobs are replayed, a few seconds.")
				return demo.Fill(ctx, b, examples.Folders, time.Now())
			})
		},
	}
	o.flags(c)
	return c
}

// serving is one run of the workbench.
type serving struct {
	address, secure, data, shop, demoPIN string
	verbose                              bool
	own                                  bookFiles
}

func (o *serving) flags(c *cobra.Command) {
	c.Flags().StringVar(&o.address, "address", ":8040", "address for plain http")
	c.Flags().StringVar(&o.secure, "secure-address", ":8041", "address for TLS; empty: none. Not opened while --address is reached from this machine only (127.*, localhost)")
	o.own.flag(c)
	c.Flags().BoolVar(&o.verbose, "verbose", false, "write down refused requests too")
}

// run serves until it is told to stop. fill puts something into a new shop.
func (o *serving) run(c *cobra.Command, fill func(context.Context, *shop.Bench) error) (err error) {
	ctx, stop := signal.NotifyContext(c.Context(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	books, err := o.own.shelf(c)
	if err != nil {
		return err
	}
	st, err := sqlite.Open(o.data, sqlite.Options{Create: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	b, err := shop.NewBench(st, shop.BenchOptions{Shop: "shop", Books: books, Clock: time.Now, NewID: newID, Program: Version()})
	if err != nil {
		return err
	}
	defer b.Close()
	if fill != nil {
		if err := fill(ctx, b); err != nil {
			return err
		}
	}
	plain, err := net.Listen("tcp", o.address)
	if err != nil {
		return err
	}
	defer plain.Close()
	network, secure, err := o.network(plain)
	if err != nil {
		return err
	}
	level := slog.LevelWarn
	if o.verbose {
		level = slog.LevelDebug
	}
	server, err := web.New(b, web.Options{Shop: o.shop, Network: network, DemoPIN: o.demoPIN, Names: []string{lan.Name()},
		Log: slog.New(slog.NewTextHandler(c.ErrOrStderr(), &slog.HandlerOptions{Level: level}))})
	if err != nil {
		return err
	}
	if o.secure != "" && onlyHere(plain.Addr()) {
		fmt.Fprintf(c.OutOrStdout(), "No TLS:     %s is reached from this machine only; --secure-address %s is not opened.\n", o.address, o.secure)
	}
	if err := tell(c.OutOrStdout(), network, plain.Addr(), o.data, fill != nil); err != nil {
		return err
	}
	return serveUntil(ctx, server.HTTP(), plain, secure)
}

// network says how other devices reach this machine, and opens the TLS address.
func (o *serving) network(plain net.Listener) (web.Network, *tlsListener, error) {
	n := web.Network{}
	host := reachableHost(plain.Addr())
	n.Plain = "http://" + host
	if o.secure == "" || onlyHere(plain.Addr()) {
		return n, nil, nil
	}
	authority, err := lan.OpenAuthority(filepath.Join(o.data, "authority"), o.shop, time.Now())
	if err != nil {
		return n, nil, err
	}
	l, err := net.Listen("tcp", o.secure)
	if err != nil {
		return n, nil, err
	}
	n.Authority = authority
	n.Secure = "https://" + reachableHost(l.Addr())
	return n, &tlsListener{l, lan.NewCertificates(authority, time.Now)}, nil
}

// onlyHere reports whether nothing but this machine reaches an address: there is no other
// device then that TLS would be for.
func onlyHere(a net.Addr) bool {
	host := reachableHost(a)
	return strings.HasPrefix(host, "127.") || strings.HasPrefix(host, "[::1]") || strings.HasPrefix(host, "localhost")
}

// tlsListener is the TLS address with what makes its certificates.
type tlsListener struct {
	net.Listener
	certificates *lan.Certificates
}

// reachableHost is host and port as another device types them.
func reachableHost(a net.Addr) string {
	t, ok := a.(*net.TCPAddr)
	if !ok {
		return a.String()
	}
	host := t.IP.String()
	if t.IP.IsUnspecified() {
		host = "localhost"
		if addrs, err := lan.Addresses(); err == nil && len(addrs) > 0 {
			host = addrs[0].String()
		}
	}
	return net.JoinHostPort(host, fmt.Sprint(t.Port))
}

// tell prints where the workbench is, for people and for a phone's camera.
func tell(w io.Writer, n web.Network, local net.Addr, data string, isDemo bool) error {
	p := &page{w: w}
	p.line("Workbench:  " + n.Plain)
	if t, ok := local.(*net.TCPAddr); ok && t.IP.IsUnspecified() {
		p.line(fmt.Sprintf("Here:       http://localhost:%d", t.Port))
	}
	if n.Secure != "" {
		p.line("Over TLS:   " + n.Secure + "  (first " + n.Plain + "/join)")
	}
	if isDemo {
		p.line("Every PIN:  " + demo.PIN)
		p.line("This shop is thrown away when you end it with Ctrl-C.")
	} else {
		p.line("Record:     " + data)
	}
	code, err := lan.NewCode(n.Plain + "/")
	if err != nil {
		return err
	}
	p.line("")
	p.line(code.Terminal(false))
	return p.err
}

// serveUntil serves both addresses until ctx ends or one of them fails.
func serveUntil(ctx context.Context, s *http.Server, plain net.Listener, secure *tlsListener) error {
	failed := make(chan error, 2)
	go func() { failed <- s.Serve(plain) }()
	if secure != nil {
		s.TLSConfig = secure.certificates.TLS()
		go func() { failed <- s.ServeTLS(secure.Listener, "", "") }()
	}
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
	defer cancel()
	if err := s.Shutdown(end); err != nil {
		return s.Close() // streams of events never end by themselves
	}
	return nil
}

// newID is an opaque id: of a job, an entry.
func newID() string { return strings.ToLower(rand.Text()[:20]) }
