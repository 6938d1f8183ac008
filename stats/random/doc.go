// Package random gives streams of random numbers addressed by what they are for, instead of
// by the order in which they happen to be drawn. The stream of replicate 17 of a bootstrap is
// the same whether it is drawn first, last or on another processor.
package random
