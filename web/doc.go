// Package web is the workbench in a browser: pages, the HTTP API and what keeps
// both safe on a shop's network.
//
// Pages are html/template and work before any script arrives: a button is a form
// or a link, and the page that comes back is the truth. Scripts then better it:
// they send the same commands to the API, hear of other devices' changes, and
// keep an outbox while the server is away.
//
// A part of the workbench is added without touching the others: its Go file adds
// to routes in an init function and calls Server.page with the name of its own
// template in pages/, which defines "main"; its texts are a file of their own in
// the catalogues of package text; its test adds to samples, so that the template
// is executed with an empty and a filled view. See look.go for the smallest
// example.
//
// Everything served is embedded. The Content-Security-Policy allows no script or
// style in the page itself, so widths and positions are drawn as SVG attributes
// and not as style attributes, and texts reach scripts through data attributes.
package web
