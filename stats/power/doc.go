// Package power says how large the next study must be, what power a study of a given size has, and
// which difference it can detect, by closed forms and by exact enumeration.
//
// Every kind of study has one shape. A [Design] names the assumptions that it takes; [Given] holds
// those that are known; [Solve] finds the one of size, goal and effect that was left out:
//
//	design, _ := power.Find("two means")
//	answer, err := power.Solve(design, power.Given{
//		power.Difference: power.Is(10), power.SD: power.Is(20), power.Loss: power.Is(0.1),
//		power.Power: power.Is(0.9), // the size is left out, so it is what is looked for
//	})
//
// What the planner chooses (significance, sides, allocation, the test) has a usual value that is
// filled in and listed in the answer. What is assumed about the world (a spread, a rate, a loss)
// has none: left out, it is asked for by name. A design that cannot be is refused with what would be
// possible; see [Problems].
//
// The size is the number recruited in all. Of these a share is lost ([Loss]), or, where time is
// followed, lost at a yearly rate; and shoulders of one patient and patients of one hospital are
// alike. A design of independent observations needs N of them; with an intraclass correlation ρ
// it needs
//
//	N · (1 + (E[m²]/E[m] − 1) ρ)    where what is compared differs between clusters of m,
//	N · (1 − ρ)                     where it differs within them,
//
// so that likeness costs in the first case, since the second shoulder tells partly what the first
// told already, and helps in the second, since what the two share falls out of their difference.
// See [Clusters].
package power
