package numeric

import "sync"

// InParallel splits 0 to n into equal stretches, one for each worker, and waits for all.
func InParallel(n, workers int, work func(worker, from, to int)) {
	if workers == 1 {
		work(0, 0, n)
		return
	}
	var done sync.WaitGroup
	for w := range workers {
		done.Go(func() { work(w, n*w/workers, n*(w+1)/workers) })
	}
	done.Wait()
}
