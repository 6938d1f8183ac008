package power

// Name names an assumption, in words that a plan or a command line can use.
type Name string

// The assumptions that most designs share. Those of single designs stand beside them.
const (
	Size         Name = "size"         // recruited in all
	Power        Name = "power"        // chance to find the effect if it is as assumed
	Significance Name = "significance" // chance to find one where there is none
	Sides        Name = "sides"        // 1 or 2
	Allocation   Name = "allocation"   // in the second group for each one in the first
	Loss         Name = "loss"         // share of those recruited who will give no result, or, where time is followed, yearly share lost
	Direction    Name = "direction"    // which way the smallest detectable effect lies
	Test         Name = "test"         // which test, where there are several
)

// Setting is what is known of one assumption: a number, or a word where there are choices.
type Setting struct {
	Number float64
	Word   string
}

// Is makes a setting that is a number.
func Is(x float64) Setting { return Setting{Number: x} }

// Says makes a setting that is a word.
func Says(word string) Setting { return Setting{Word: word} }

// Given holds the settings that are known, by name.
type Given map[Name]Setting

// Assumption describes one assumption of a design.
type Assumption struct {
	Name    Name
	Words   string   // what it is, to go on a sentence: "share with the event in the first group"
	Help    string   // one line for those who have to fill it in
	Unit    Unit     // what the number counts or measures
	From    float64  // the number lies between From and To
	To      float64  //
	FromIn  bool     // whether From itself is possible
	ToIn    bool     // whether To itself is possible
	Choices []string // the words that are possible, when it is a word
	Usual   *Setting // what is taken when it is left out, where the planner is free to choose
	// Optional says that it may be left out without anything being taken instead; Absent says what that means.
	Optional bool
	Absent   string
}

// Unit says what a number is.
type Unit string

// The units of assumptions and quantities.
const (
	Share   Unit = "share"  // 0 to 1
	Ratio   Unit = "ratio"  // of hazards, rates, sizes
	Points  Unit = "points" // of a score, or whatever the means are in
	Years   Unit = "years"
	Per100  Unit = "per 100 prosthesis-years"
	Plain   Unit = "number" // a correlation, an area, a count of sides
	Choice  Unit = "word"
	Persons Unit = "recruited" // shoulders, patients or pairs
	Events  Unit = "events"
	Time    Unit = "prosthesis-years"
)

// Design is one kind of study.
type Design struct {
	ID       string // "two means"
	Question string // what it answers, in one line
	Takes    []Assumption
	Goal     Name   // Power, or HalfWidth
	Effect   Name   // what is smallest detectable; empty where nothing is to be detected
	Counted  string // what the size counts: "shoulders", "pairs", "events", "prosthesis-years"
	Groups   int    // 1 or 2

	sizeUnit Unit
	least    float64 // smallest size of a group
	// check adds what is impossible about assumptions that are each possible alone.
	check func(a *assumed)
	// reach is the power, or minus the half-width, with so many effective observations in each group.
	reach func(a *assumed, n1, n2 float64) float64
	// null is the value of the effect at which there is nothing to find; far is as far as it can go in one direction.
	null func(a *assumed) float64
	far  func(a *assumed, higher bool) float64
	// whole says that the test is exact, so that its power rises with the size in a saw-tooth. Such a design also knows the
	// normal test, from whose size the search starts. outcomes is about how many it counts.
	whole    func(a *assumed) bool
	outcomes func(a *assumed, n1, n2 float64) float64
	// more is what else follows from the design, for the table and the sentence.
	more   func(a *assumed, n1, n2 float64) []Quantity
	method func(a *assumed) Method
}

// Method is what a protocol says about how a size was worked out.
type Method struct {
	Words  string // the test and how its power is worked out: "a two-sided log-rank test by Schoenfeld's formula, …"
	Source string // where the formula is published
	Exact  bool   // whether it is exact under the assumptions; otherwise an approximation
}

// Quantity is one number that follows from a design.
type Quantity struct {
	Name  string // lower case, parts joined by hyphens: "first-group"
	Words string
	Unit  Unit
	Value float64
}

// Find returns the design with an id.
func Find(id string) (*Design, bool) {
	for _, d := range Designs() {
		if d.ID == id {
			return d, true
		}
	}
	return nil, false
}

// Taken returns the assumption of a design that has a name.
func (d *Design) Taken(name Name) (Assumption, bool) {
	for _, t := range d.Takes {
		if t.Name == name {
			return t, true
		}
	}
	return Assumption{}, false
}

// Designs returns every design, in the order of a table of contents.
func Designs() []*Design {
	return []*Design{
		oneMean, twoMeans, pairedMeans, nonInferiorMean, equivalentMeans, repeatedScores, correlation, rocArea,
		oneProportion, twoProportions, nonInferiorProportion, pairedProportions, responders,
		logRank, eventsAlone, benchmark, characteristic, incidence, oneRate, twoRates,
		widthOfMean, widthOfProportion, widthOfSurvival, widthOfMCID,
	}
}
