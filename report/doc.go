// Package report prints the page that the customer reads and signs and a reviewer
// can check: complaint, cause, correction, codes, proof, and what is not proven.
//
// Make turns what package shop found out into a Sheet: the words and figures in
// their order. HTML, PDF and Text set the same Sheet. The HTML is the accessible form and
// holds everything; the PDF is one page, A4 or Letter, black only. What does not fit
// on it shrinks in a fixed order: the items first, never the proof or what was not
// tested.
//
// The customer reads the bold lines, the reviewer the small ones and the
// fingerprint. Figures that were worked out and not read are led by ≈. The same
// input and date give the same bytes.
package report
