//go:build race

package trials_test

// slower divides the replicates of the tests: the race detector makes each ten times as slow, and
// finds nothing in the last that it did not find in the first. With so few of them more Monte-Carlo
// errors are allowed.
const slower, allowed = 8, 5
