package describe

// rankSumCounts returns how many of the ways to choose m of m+n ranks give each value of the rank-sum statistic, 0 … mn, as shares of all ways. Each
// is built up by the recursion on the largest rank: it belongs to the first sample, and beats all n of the second, or it does not.
func rankSumCounts(m, n int) []float64 {
	// ways[i] holds the counts for i of the ranks so far in the first sample.
	ways := make([][]float64, m+1)
	for i := range ways {
		ways[i] = make([]float64, m*n+1)
	}
	ways[0][0] = 1
	for rank := 1; rank <= m+n; rank++ {
		for i := min(rank, m); i >= 1; i-- {
			below := rank - i // ranks of the second sample under this one
			if below > n {
				continue
			}
			for u := m*n - below; u >= 0; u-- {
				if c := ways[i-1][u]; c > 0 {
					ways[i][u+below] += c
				}
			}
		}
	}
	return asShares(ways[m])
}

// signedRankCounts returns how many of the 2ⁿ sets of signs give each value of the signed-rank statistic, 0 … n(n+1)/2, as shares.
func signedRankCounts(n int) []float64 {
	ways := make([]float64, n*(n+1)/2+1)
	ways[0] = 1
	for rank := 1; rank <= n; rank++ {
		for t := len(ways) - 1; t >= rank; t-- {
			ways[t] += ways[t-rank]
		}
	}
	return asShares(ways)
}

func asShares(ways []float64) []float64 {
	total := 0.0
	for _, w := range ways {
		total += w
	}
	for i := range ways {
		ways[i] /= total
	}
	return ways
}

// twoSided returns twice the smaller tail of a symmetric distribution over 0, 1, 2, …, the observed value in both tails, at most 1.
func twoSided(share []float64, observed float64) float64 {
	at := min(int(observed), len(share)-1-int(observed))
	tail := 0.0
	for _, s := range share[:at+1] {
		tail += s
	}
	return min(1, 2*tail)
}
