package survival

// product is productInGo in the vector instructions that every such processor has, three times as
// fast; the covariance of hundreds of groups is made of it.
//
//go:noescape
func product(out *[16]float64, a, b [][4]float64)
