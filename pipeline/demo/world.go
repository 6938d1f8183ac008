package demo

import (
	"math"
	"slices"
	"time"
)

// The invented world: every share, ratio and hazard from which the records are drawn. A ratio multiplies a hazard.

const daysPerYear = 365.25

// The first and the last day of the registry, and the days between two sides of one patient.
var (
	opens   = dayOf(2008, time.January, 1)
	dataCut = dayOf(2023, time.December, 31)
)

const (
	minGap = 90   // days between two sides, every whole number
	maxGap = 1826 // from minGap to maxGap being as likely
	growth = 0.06 // the logarithm of operations a day rises by this much a year
)

func dayOf(year int, month time.Month, day int) int32 {
	return int32(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// stratum is one pair of indication and procedure, and what is particular to it.
type stratum struct {
	indication, procedure int16   // places in the code lists
	share                 float64 // of the patients
	age, spread           float64 // mean and standard deviation of the normal curve that ages follow
	female                float64 // share of women
	second                float64 // share of patients whose other side is to follow
	revision, death       float64 // ratios
}

var strata = []stratum{
	{oaDeficientCuff, reverse, 0.22, 74, 7, 0.62, 0.20, 1.00, 1.0},
	{cuffTearArthropathy, reverse, 0.24, 75, 7, 0.65, 0.17, 1.20, 1.1},
	{fracture, reverse, 0.14, 77, 7, 0.81, 0.03, 1.05, 1.5},
	{fractureSequelae, reverse, 0.05, 70, 9, 0.72, 0.02, 1.90, 1.2},
	{massiveCuffTear, reverse, 0.05, 70, 7, 0.50, 0.10, 1.30, 1.0},
	{oaIntactCuff, reverse, 0.05, 77, 6, 0.62, 0.18, 0.90, 1.0},
	{inflammatory, reverse, 0.02, 68, 9, 0.78, 0.25, 1.40, 1.3},
	{instability, reverse, 0.01, 69, 9, 0.55, 0.02, 2.20, 1.1},
	{tumour, reverse, 0.01, 64, 12, 0.50, 0.00, 1.80, 5.0},
	{oaIntactCuff, anatomic, 0.10, 68, 8, 0.52, 0.20, 1.15, 0.9},
	{avascularNecrosis, anatomic, 0.01, 60, 10, 0.55, 0.15, 1.40, 1.1},
	{fracture, hemi, 0.03, 72, 9, 0.76, 0.02, 1.50, 1.4},
	{avascularNecrosis, hemi, 0.01, 58, 10, 0.50, 0.10, 1.60, 1.1},
	{fracture, plate, 0.06, 64, 11, 0.68, 0.01, 1.80, 1.1},
}

// crossing is a share of the second sides of one stratum that belong to another: patients with a different indication and
// a different procedure on each side.
type crossing struct {
	from, to int // places in strata; at most one crossing leaves a stratum
	share    float64
}

// crossings goes both ways between cuff-tear arthropathy and osteoarthritis with a cuff that works: one side of a patient
// may have come further than the other.
var crossings = []crossing{
	{placeOf(cuffTearArthropathy, reverse), placeOf(oaIntactCuff, anatomic), 0.10},
	{placeOf(oaIntactCuff, anatomic), placeOf(cuffTearArthropathy, reverse), 0.25},
}

// placeOf returns the place of an indication and a procedure in strata.
func placeOf(indication, procedure int16) int {
	return slices.IndexFunc(strata, func(s stratum) bool { return s.indication == indication && s.procedure == procedure })
}

// Ages at the first operation run from youngest to oldest in whole years.
const (
	youngest = 45
	oldest   = 95
)

// ages returns the share of each age from youngest to oldest.
func (s *stratum) ages() []float64 {
	p := make([]float64, oldest-youngest+1)
	var sum float64
	for i := range p {
		z := (float64(youngest+i) + 0.5 - s.age) / s.spread
		p[i] = math.Exp(-z * z / 2)
		sum += p[i]
	}
	for i := range p {
		p[i] /= sum
	}
	return p
}

// Shares of the ASA classes 1 to 4 below 70 years, from 70 to 79 and from 80 on, and their ratios of death.
var (
	asaShares = [3][]float64{{0.12, 0.58, 0.28, 0.02}, {0.06, 0.52, 0.39, 0.03}, {0.02, 0.40, 0.53, 0.05}}
	asaDeath  = [4]float64{0.6, 1, 1.8, 3.2}
)

func asaBand(age int) int { return min(max((age-60)/10, 0), 2) }

// The hazard of death of a woman in ASA class 2 is deathAt75 a year at the age of 75 and grows by the factor
// e^deathSlope with each year of age.
const (
	deathAt75  = 0.018
	deathSlope = 0.1
	deathMale  = 1.5
)

// The hazard of a first revision a year, in pieces that begin at the given years after the operation, for a woman of 75
// with ratios of 1 otherwise.
var (
	revisionFrom   = []float64{0, 0.25, 1, 5}
	revisionHazard = []float64{0.026, 0.012, 0.0048, 0.0042}
)

const (
	revisionMale    = 1.35
	revisionPerYear = -0.018 // added to the logarithm of the hazard for each year of age above 75
	revisionAgain   = 0.05   // hazard a year of the next revision after a revision, for everyone
	mostRevisions   = 3      // of one shoulder
)

// implant is a system of an invented maker, as used for one procedure.
type implant struct {
	system   int16 // place in the lists of humeral and glenoid codes
	share    float64
	revision float64
}

// implants lists, by procedure, the systems used.
var implants = [...][]implant{
	reverse:  {{0, 0.40, 1.0}, {1, 0.30, 0.9}, {2, 0.20, 1.15}, {3, 0.10, 1.7}},
	anatomic: {{4, 0.60, 1.0}, {5, 0.40, 1.25}},
	hemi:     {{4, 0.50, 1.0}, {5, 0.50, 1.2}},
	plate:    {{6, 1, 1}},
}

const (
	hospitals        = 40
	surgeonsPerPlace = 5
)

// hospitalRevision is each hospital's ratio of revision. Two stand out on purpose: K07 and K23.
var hospitalRevision = [hospitals]float64{
	0.92, 1.08, 0.85, 1.14, 0.97, 1.03, 1.80, 0.78, 1.21, 0.88,
	1.01, 0.94, 1.27, 0.81, 1.06, 0.99, 0.72, 1.17, 0.90, 1.11,
	0.95, 1.04, 1.60, 0.83, 1.19, 0.96, 1.00, 0.87, 1.32, 0.93,
	1.09, 0.76, 1.02, 0.98, 1.24, 0.89, 1.05, 0.91, 1.13, 0.80,
}

// hospitalShares returns each hospital's share of the patients; the first hospital is about eight times the last.
func hospitalShares() []float64 {
	p := make([]float64, hospitals)
	var sum float64
	for i := range p {
		p[i] = 1 / float64(i+6)
		sum += p[i]
	}
	for i := range p {
		p[i] /= sum
	}
	return p
}

// collectsScores says which hospitals send scores: two in five.
func collectsScores(hospital int16) bool { return hospital%5 < 2 }
