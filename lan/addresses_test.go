package lan

import (
	"net/netip"
	"slices"
	"testing"
)

func TestReachable(t *testing.T) {
	var all []netip.Addr
	for _, s := range []string{"127.0.0.1", "172.17.0.1", "203.0.113.9", "10.1.2.3", "fe80::1%eth0", "169.254.3.4", "192.168.1.20", "192.168.1.20", "fd12::5", "2001:db8::1", "::1"} {
		all = append(all, netip.MustParseAddr(s))
	}
	var got []string
	for _, a := range reachable(all) {
		got = append(got, a.String())
	}
	want := []string{"192.168.1.20", "10.1.2.3", "172.17.0.1", "fd12::5", "169.254.3.4"}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// Edges of the ranges, from RFC 1918 and RFC 4193.
func TestPrivate(t *testing.T) {
	for s, want := range map[string]bool{
		"9.255.255.255": false, "10.0.0.0": true, "10.255.255.255": true, "11.0.0.0": false,
		"172.15.255.255": false, "172.16.0.0": true, "172.31.255.255": true, "172.32.0.0": false,
		"192.167.255.255": false, "192.168.0.0": true, "192.168.255.255": true, "192.169.0.0": false,
		"fbff::1": false, "fc00::1": true, "fdff::1": true, "fe00::1": false,
		"::ffff:192.168.1.1": true, "::ffff:8.8.8.8": false, "fe80::1%wlan0": true,
	} {
		if got := Private(netip.MustParseAddr(s)); got != want {
			t.Errorf("%s: %v, want %v", s, got, want)
		}
	}
}

func TestAddressesOfThisMachineArePrivate(t *testing.T) {
	got, err := Addresses()
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range got {
		if !Private(a) || a.IsLoopback() {
			t.Errorf("%s is offered to phones", a)
		}
	}
}

func TestLocalName(t *testing.T) {
	for host, want := range map[string]string{"Bench": "bench.local", "bay 3_pc.shop.example": "bay-3-pc.local", "localhost": "", "---": "", "": "", "Zürich": "z-rich.local"} {
		if got := localName(host); got != want {
			t.Errorf("%q: %q, want %q", host, got, want)
		}
	}
}
