package covariates

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// mostPieces bounds the memory of sums that are kept for each piece.
const mostPieces = 32

// pieceRows is the length of a piece: it depends on the number of rows alone.
func pieceRows(rows int) int { return max(1<<13, (rows+mostPieces-1)/mostPieces) }

// Pieces returns into how many pieces rows are cut.
func Pieces(rows int) int { return (rows + pieceRows(rows) - 1) / pieceRows(rows) }

// InPieces calls work for every piece of the rows, several at a time. Worker is below
// Workers(rows) and no two calls that run at once share it, so that it can choose scratch memory;
// results belong to the piece.
func InPieces(rows int, work func(worker, piece, from, to int)) {
	size := pieceRows(rows)
	InParallel(Pieces(rows), func(worker, piece int) {
		work(worker, piece, piece*size, min(rows, (piece+1)*size))
	})
}

// Workers returns how many workers InPieces may use at once.
func Workers(rows int) int { return workersFor(Pieces(rows)) }

func workersFor(jobs int) int { return max(1, min(runtime.GOMAXPROCS(0), jobs)) }

// InParallel does the jobs 0 to jobs−1 on all processors, in no order.
func InParallel(jobs int, do func(worker, job int)) {
	workers := workersFor(jobs)
	if workers == 1 {
		for job := range jobs {
			do(0, job)
		}
		return
	}
	var next atomic.Int64
	var done sync.WaitGroup
	for w := range workers {
		done.Go(func() {
			for job := int(next.Add(1)) - 1; job < jobs; job = int(next.Add(1)) - 1 {
				do(w, job)
			}
		})
	}
	done.Wait()
}
