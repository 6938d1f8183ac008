package report

// Figure is a picture as data. Exactly one of Curves, Boxes and Dots is set.
type Figure struct {
	ID    string // file name without ending
	Title string
	Alt   string // what the picture shows, in words, for those who cannot see it
	X, Y  Axis
	// Curves in the order of the legend.
	Curves []Curve
	// Marks are values with their intervals, drawn over the curves, each at its place of the x axis.
	Marks []Mark
	// Stacked says that the curves lie on one another, the lowest first: each is the sum of its own part and all below it, and
	// the last is the whole. It has one row of numbers at risk, which is that of all curves.
	Stacked bool
	// AtRisk are the rows of numbers at risk below the x axis, one for each curve, in the same order.
	AtRisk []RiskRow
	// Boxes of a participant flow, from top to bottom.
	Boxes []Box
	// Dots are values with their intervals, from top to bottom. Where the x axis begins and ends follows from those that are
	// shown.
	Dots []Dot
	// Line is the id of an estimate whose value is an upright line across the dots; empty for none.
	Line  string
	Notes []Text
}

// Axis is one axis of a figure.
type Axis struct {
	Label string // with the unit: "Years since operation"
	Unit  string // "years", "probability"
	Min   float64
	Max   float64
	Ticks []float64
	// Log says that equal distances are equal ratios, as ratios of hazards want it; of a figure of dots.
	Log bool
}

// Curve is a step function with a band, or a line. It carries its group; a legend, a colour or a table row reads it from here.
type Curve struct {
	Group   string
	Measure string // "cumulative incidence"
	Steps   []Step // right-continuous: Y holds from X up to the next step, unless Sloping
	Sloping bool   // straight lines join the points
	// Beyond is from where on the curve is what a model says and nothing that was seen; it is drawn fainter and dotted there.
	Beyond Optional
	// Guide says that the curve is of nobody, as a line of perfect agreement; it is drawn thin and grey.
	Guide bool
	EndX  float64
	End   string // why the curve ends there: "last shoulder at risk"
	Style int    // which of the palette's styles; equal for one group in all figures
	// Estimates are the ids of the estimates that the curve shows: in a stacked figure those of its own part. Without numbers
	// at risk below, a curve of which one is masked is not drawn.
	Estimates []string
}

// Mark is a value with its interval, drawn where another value stands on the x axis.
type Mark struct {
	At       string // id of the estimate whose value is its place
	Estimate string // id
	Style    int
}

// Step is one step of a curve. The band is absent where there is no interval.
type Step struct {
	X, Y         float64
	Lower, Upper Optional
}

// RiskRow is the numbers at risk of one curve at the ticks of the x axis.
type RiskRow struct {
	Group     string
	Estimates []string // ids, one for each tick
}

// Box is one step of a participant flow: what remains, and what left on the way to the next box.
type Box struct {
	Label string
	Kept  Text // shoulders and patients that remain
	Left  []Leave
}

// Dot is one value with its interval, or a heading above others.
type Dot struct {
	Label    string
	Estimate string // id; empty for a heading
	Heading  bool   // a row without a value
	Indent   int    // depth below the heading above
}

// Leave is a group that left the flow between two boxes.
type Leave struct {
	Reason string
	Count  Text
}
