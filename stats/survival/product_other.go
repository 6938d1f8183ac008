//go:build !amd64

package survival

func product(out *[16]float64, a, b [][4]float64) { productInGo(out, a, b) }
