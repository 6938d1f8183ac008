package survival_test

import (
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"sync/atomic"
	"testing"
	"time"

	"deltoid/stats/survival"
)

// BenchmarkPeakMemory answers: how many bytes beyond the input are in use at once, for each of a
// million rows in 400 groups? What is no longer used is collected at once, so that the figure is
// not that of a lazy collector; time is not to be read here.
func BenchmarkPeakMemory(b *testing.B) {
	const rows, groups = 1_000_000, 400
	d := pairedData(b, rows, groups)
	count := func() *survival.Counts {
		c, err := survival.Count(d)
		if err != nil {
			b.Fatal(err)
		}
		return c
	}
	for _, x := range []struct {
		name string
		work func()
	}{
		{"count", func() { count() }},
		{"curves", func() {
			c := count()
			for g := range groups {
				c.ProductLimit(g, 1)
			}
		}},
		{"log-rank", func() { survival.LogRank(1, survival.Equal, count()) }},
		{"clustered log-rank", func() { survival.ClusteredLogRank(1, survival.Equal, d, nil, 1) }},
		{"layout", func() { survival.LayOut(d) }},
	} {
		b.Run(x.name, func(b *testing.B) {
			defer debug.SetGCPercent(debug.SetGCPercent(1))
			peak := uint64(0)
			for b.Loop() {
				peak = max(peak, peakOf(x.work))
			}
			b.ReportMetric(float64(peak)/rows, "peak-B/row")
		})
	}
}

// peakOf looks at the memory in use every tenth of a millisecond.
func peakOf(work func()) uint64 {
	runtime.GC()
	before := inUse()
	var peak atomic.Uint64
	done := make(chan struct{})
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		for {
			select {
			case <-done:
				return
			case <-time.After(100 * time.Microsecond):
				peak.Store(max(peak.Load(), inUse()))
			}
		}
	}()
	work()
	close(done)
	<-stopped
	return max(peak.Load(), before) - before
}

func inUse() uint64 {
	sample := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	metrics.Read(sample)
	return sample[0].Value.Uint64()
}
