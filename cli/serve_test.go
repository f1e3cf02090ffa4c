package cli

import (
	"net"
	"testing"
)

// TestTLSIsForOtherDevices: an address that only this machine reaches opens no TLS, and
// that is known before anything is opened.
func TestTLSIsForOtherDevices(t *testing.T) {
	for address, want := range map[string]bool{"127.0.0.1": true, "127.0.0.53": true, "::1": true, "192.168.4.20": false, "10.0.0.8": false} {
		if got := onlyHere(&net.TCPAddr{IP: net.ParseIP(address), Port: 8040}); got != want {
			t.Errorf("%s only here: %v", address, got)
		}
	}
}
