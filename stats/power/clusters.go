package power

import "math"

// The assumptions about shoulders of one patient and patients of one hospital.
const (
	BothShoulders     Name = "both_shoulders"
	ShoulderLikeness  Name = "shoulder_correlation"
	HospitalSize      Name = "hospital_size"
	HospitalVariation Name = "hospital_variation"
	HospitalLikeness  Name = "hospital_correlation"
	ComparedWithin    Name = "compared_within"
	withinNothing          = "nothing"
	withinPatients         = "patients"
	withinHospitals        = "hospitals"
)

// Clusters says how much more, or less, observations are needed because some are alike.
type Clusters struct {
	Effect    float64 // factor on the size: above 1 where likeness costs, below 1 where it helps
	Shoulders float64 // what the shoulders of one patient add to 1
	Hospitals float64 // what the shoulders of one hospital add to 1
	Within    string  // within what the comparison is made: "nothing", "patients", "hospitals"
}

// DesignEffect returns the factor by which clusters of mean size m, whose sizes have the coefficient of variation cv, and an
// intraclass correlation rho multiply the size when what is compared differs between clusters:
//
//	1 + (m (1 + cv²) − 1) ρ
//
// A patient with one or two shoulders in is a cluster, and so is a hospital.
//
// Source: Kish, Survey Sampling (1965), section 5.4; for unequal sizes Eldridge, Ashby & Kerry, Int. J. Epidemiol. 35
// (2006) 1292–1300.
func DesignEffect(m, cv, rho float64) float64 {
	return 1 + float64((float64(m*(1+float64(cv*cv)))-1)*rho)
}

// WithinEffect returns the factor on the size when each cluster holds what is compared in equal parts: 1 − ρ, since what
// its members share falls out of the difference.
func WithinEffect(rho float64) float64 { return 1 - rho }

var one = Is(1)
var none = Is(0)

// clustered are the assumptions about likeness, which every design without them takes as one shoulder of each patient and
// no likeness within hospitals.
func clustered() []Assumption {
	nothing := Says(withinNothing)
	return []Assumption{
		{Name: BothShoulders, Words: "share of the patients with both shoulders in", Help: "0 when each patient is in with one shoulder",
			Unit: Share, From: 0, FromIn: true, To: 1, ToIn: true, Usual: &none},
		{Name: ShoulderLikeness, Words: "correlation between the two shoulders of a patient", Help: "0 if they tell nothing of one another, 1 if they always agree",
			Unit: Plain, From: 0, FromIn: true, To: 1, Optional: true, Absent: "no patient has both shoulders in"},
		{Name: HospitalSize, Words: "mean number of shoulders from one hospital", Help: "1 when hospitals are not thought to differ",
			Unit: Ratio, From: 1, FromIn: true, To: math.Inf(1), Usual: &one},
		{Name: HospitalVariation, Words: "coefficient of variation of the hospitals' numbers", Help: "SD of the numbers divided by their mean; 0 when all give as many",
			Unit: Plain, From: 0, FromIn: true, To: math.Inf(1), Optional: true, Absent: "hospitals are not thought to differ"},
		{Name: HospitalLikeness, Words: "correlation between shoulders of one hospital", Help: "share of the variance that lies between hospitals; often 0.01 to 0.05",
			Unit: Plain, From: 0, FromIn: true, To: 1, Optional: true, Absent: "hospitals are not thought to differ"},
		{Name: ComparedWithin, Words: "within what the groups are compared", Help: "patients if each patient has one shoulder in each group, hospitals if each hospital has both groups",
			Unit: Choice, Choices: []string{withinNothing, withinPatients, withinHospitals}, Usual: &nothing},
	}
}

// clustersAgree asks for what a declared likeness needs.
func (a *assumed) clustersAgree() {
	if _, ok := a.design.Taken(BothShoulders); !ok {
		return
	}
	askFor := func(name Name) {
		if !a.has(name) {
			t, _ := a.design.Taken(name)
			a.ask(name, t.Words+" ("+t.Help+")")
		}
	}
	if a.x(BothShoulders) > 0 {
		askFor(ShoulderLikeness)
	}
	if a.x(HospitalSize) > 1 {
		askFor(HospitalVariation)
		askFor(HospitalLikeness)
	}
	switch a.word(ComparedWithin) {
	case withinPatients:
		if a.design.Groups == 1 {
			a.refuse(ComparedWithin, withinNothing, "one group cannot be compared within patients")
		} else if a.x(BothShoulders) < 1 || a.x(Allocation) != 1 {
			a.refuse(BothShoulders, "1, with allocation 1: every patient has one shoulder in each group",
				"the groups are compared within patients, but not every patient has both shoulders in, one in each group")
		}
	case withinHospitals:
		if a.design.Groups == 1 {
			a.refuse(ComparedWithin, withinNothing, "one group cannot be compared within hospitals")
		} else if a.x(HospitalSize) <= 1 {
			a.refuse(HospitalSize, "above 1", "the groups are compared within hospitals, but a hospital has one shoulder")
		}
	}
}

// clusters works out the factor on the size. Pairs of shoulders of one patient are alike by the correlation of shoulders,
// other pairs of one hospital by that of hospitals:
//
//	1 + (p − 1) ρ_shoulders + (h − p) ρ_hospitals,     p = E[m²]/E[m] of patients, h that of hospitals.
//
// What is compared within patients or hospitals loses the part that they share.
func (a *assumed) clusters() Clusters {
	c := Clusters{Effect: 1, Within: withinNothing}
	if _, ok := a.design.Taken(BothShoulders); !ok {
		return c
	}
	c.Within = a.word(ComparedWithin)
	both, likeness := a.x(BothShoulders), a.x(ShoulderLikeness)
	perPatient := (1 + float64(3*both)) / (1 + both)
	cv := a.x(HospitalVariation)
	perHospital := float64(a.x(HospitalSize) * (1 + float64(cv*cv)))
	switch c.Within {
	case withinPatients:
		c.Shoulders = -likeness
	case withinHospitals:
		c.Shoulders = float64((perPatient - 1) * (likeness - a.x(HospitalLikeness)))
		c.Hospitals = -a.x(HospitalLikeness)
	default:
		c.Shoulders = float64((perPatient - 1) * likeness)
		c.Hospitals = math.Max(0, float64((perHospital-perPatient)*a.x(HospitalLikeness)))
	}
	c.Effect = 1 + c.Shoulders + c.Hospitals
	return c
}
