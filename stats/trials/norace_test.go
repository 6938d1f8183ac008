//go:build !race

package trials_test

// allowed is how many Monte-Carlo errors a simulation may be away from what is worked out.
const slower, allowed = 1, 3
