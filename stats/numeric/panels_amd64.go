package numeric

// product is productInGo in the vector instructions that every such processor has, three times as
// fast.
//
//go:noescape
func product(out *[16]float64, a, b [][4]float64)

// products is product of one panel with two, in the wider instructions that nearly every such
// processor has, twice as fast again.
func products(left, right *[16]float64, a, b, c [][4]float64) {
	if wide {
		productsWide(left, right, a, b, c)
		return
	}
	product(left, a, b)
	product(right, a, c)
}

//go:noescape
func productsWide(left, right *[16]float64, a, b, c [][4]float64)

// wide says that processor and operating system know vectors of four numbers. No result depends on
// it: each number of a vector is rounded by itself.
var wide = hasWide()

// hasWide asks the processor for AVX, and whether the system keeps its registers.
func hasWide() bool
