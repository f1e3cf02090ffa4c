// Package text holds every sentence the workbench says itself, in each
// language, and writes numbers, units, dates and plurals the way that language
// does.
//
// A catalogue is a set of YAML files under catalogue/LANGUAGE, each a flat map
// from key to text: one file for each part of the workbench, so that two people
// can work side by side. {1}, {2} stand for arguments. A count has the keys
// KEY.one and KEY.other and is asked for by N. English is the source: the other
// languages have the same keys with the same arguments, and a test holds them to
// it; another holds that every key is used.
//
// What the engine says about a vehicle (findings, odds, proof) it says in English,
// where it finds it out. Say looks its sentences up by that form in engine/*.yaml
// and writes them in the printer's language, numbers and units. The texts of fault
// books and procedures are data in the language of their author, which is English:
// they stay, and pages mark them so (lang="en"), so that a screen reader changes
// its voice.
package text
