// Package references reads, for tests, what other programs made of open data: the results in
// testdata/references/expected and the data in testdata/references/data. The README there says which programs,
// in which version and by which scripts. Nothing but tests imports it; their folder must lie two below the root.
package references
