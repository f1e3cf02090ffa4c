// Package storetest is the contract every store keeps: one suite, run on each
// store and on each engine under it. A store that passes may stand under the
// workbench.
package storetest
