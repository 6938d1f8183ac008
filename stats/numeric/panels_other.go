//go:build !amd64

package numeric

func product(out *[16]float64, a, b [][4]float64) { productInGo(out, a, b) }

func products(left, right *[16]float64, a, b, c [][4]float64) {
	productInGo(left, a, b)
	productInGo(right, a, c)
}
