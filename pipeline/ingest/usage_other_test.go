//go:build !linux

package ingest

// Elsewhere the benchmarks do not say what they used.
func cpuSeconds() float64 { return 0 }
func peakGiB() float64    { return 0 }
