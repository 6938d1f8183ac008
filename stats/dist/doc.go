// Package dist holds probabilities, quantiles and exact limits to full precision in the far
// tails, where general libraries lose digits: an upper tail is computed as such and never as 1
// minus the rest.
package dist
