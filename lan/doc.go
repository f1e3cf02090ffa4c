// Package lan makes the workbench reachable on a shop's own network: which addresses
// this machine has, a certificate authority that is good for this network and nothing
// else, and the QR codes that carry an address to a phone.
//
// # Why an authority of our own
//
// A page that came over plain http gets no service worker and no wake lock from the
// browser: it cannot be reloaded while the server is away, and the screen goes dark
// under the car. TLS gives both, and a machine on a shop's network has no public name
// that a public authority would sign for. So the binary makes its own authority, and
// each tablet installs its certificate once, from a page with a QR code.
//
// # Why it cannot be turned against the tablet
//
// Whoever holds the key of an installed authority could otherwise pose as any site.
// The certificate is therefore constrained (RFC 5280, 4.2.1.10, marked critical): it
// counts only for names under .local and for private addresses (RFC 1918, RFC 4193,
// link-local and loopback), only for TLS servers, and it can make no further authority
// (path length 0). A verifier that does not know these constraints must refuse the
// certificate altogether. The key lies in a folder of its own, readable by its owner
// only, and is in no backup: a stolen backup signs nothing, and a lost key costs one
// walk round the tablets.
package lan
