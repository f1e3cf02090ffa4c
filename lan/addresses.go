package lan

import (
	"cmp"
	"net"
	"net/netip"
	"os"
	"slices"
	"strings"
)

// private are the addresses an authority of ours may sign for, and the only ones the
// workbench is offered on.
var private = []netip.Prefix{
	netip.MustParsePrefix("10.0.0.0/8"),     // RFC 1918
	netip.MustParsePrefix("172.16.0.0/12"),  // RFC 1918
	netip.MustParsePrefix("192.168.0.0/16"), // RFC 1918
	netip.MustParsePrefix("169.254.0.0/16"), // RFC 3927, link-local
	netip.MustParsePrefix("127.0.0.0/8"),    // RFC 1122, loopback
	netip.MustParsePrefix("fc00::/7"),       // RFC 4193, unique local
	netip.MustParsePrefix("fe80::/10"),      // RFC 4291, link-local
	netip.MustParsePrefix("::1/128"),        // RFC 4291, loopback
}

// Private reports whether an address belongs to a network of one's own.
func Private(a netip.Addr) bool {
	return slices.ContainsFunc(private, func(p netip.Prefix) bool { return p.Contains(a.Unmap().WithZone("")) })
}

// Addresses lists the private addresses of this machine that another device can
// reach, the likeliest first.
func Addresses() ([]netip.Addr, error) {
	list, err := net.InterfaceAddrs()
	if err != nil {
		return nil, err
	}
	var out []netip.Addr
	for _, a := range list {
		if p, err := netip.ParsePrefix(a.String()); err == nil {
			out = append(out, p.Addr().Unmap())
		}
	}
	return reachable(out), nil
}

// reachable keeps what a phone on the same network can open, in the order it is worth
// trying: the ranges of home and shop routers first, then larger networks, then IPv6.
// Loopback reaches nobody else, and a link-local IPv6 address needs an interface name
// that only the asking device knows.
func reachable(all []netip.Addr) []netip.Addr {
	rank := func(a netip.Addr) int {
		switch {
		case private[2].Contains(a):
			return 0
		case private[0].Contains(a):
			return 1
		case private[1].Contains(a): // often a bridge for containers
			return 2
		case private[5].Contains(a):
			return 3
		}
		return 4 // no router gave an address: link-local IPv4
	}
	var out []netip.Addr
	for _, a := range all {
		a = a.WithZone("")
		if Private(a) && !a.IsLoopback() && !private[6].Contains(a) && !slices.Contains(out, a) {
			out = append(out, a)
		}
	}
	slices.SortFunc(out, func(a, b netip.Addr) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), a.Compare(b))
	})
	return out
}

// Name is the name by which this machine can be asked for on a network that knows
// multicast names (RFC 6762): its host name under .local. It is empty when the host
// name has no part that may stand in such a name.
func Name() string {
	h, err := os.Hostname()
	if err != nil {
		return ""
	}
	return localName(h)
}

func localName(host string) string {
	first, _, _ := strings.Cut(strings.ToLower(host), ".")
	label := strings.Trim(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return '-'
	}, first), "-")
	if label == "" || label == "localhost" || len(label) > 63 {
		return ""
	}
	return label + ".local"
}
