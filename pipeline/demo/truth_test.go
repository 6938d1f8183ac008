package demo

import (
	"errors"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"deltoid/schemas"
	"deltoid/stats/competing"
	"deltoid/stats/survival"
)

// The estimates from made-up records must come to the truth, by the recorded indication: the settled one, which the report
// goes by unless asked, makes other groups and aims at other numbers. Over K seeds the mean of an estimate, less the truth and
// divided by its standard error s/√K, follows Student's distribution with K−1 degrees of freedom, because the estimates
// of different seeds are independent and each, from thousands of shoulders, is as good as normal. With C comparisons the
// bound is the quantile at 1 − α/(2C) (Bonferroni), so that a right program fails with a probability of at most α = 10⁻⁶
// over the choice of seeds. It does not matter that two shoulders of one patient are not independent: s is between seeds.
func TestEstimatesComeToTheTruth(t *testing.T) {
	const (
		seeds, shoulders = 40, 30_000
		alpha            = 1e-6
	)
	days := []int32{365, 730, 1826, 3652}
	sums := map[[3]int]*[2]float64{} // by indication, day and estimate: sum and sum of squares of the error
	truth := make([][]truths, len(indications))
	for g, name := range indications {
		truth[g] = trueOf(t, name, days)
	}
	for seed := range uint64(seeds) {
		counts := countFirstRevisions(t, Options{Shoulders: shoulders, Seed: 1000 + seed})
		for g := range indications {
			revised, either := counts.ProductLimit(g, 1), counts.ProductLimit(g, 0)
			incidence := competing.Incidence(counts, g, 1)
			for d, day := range days {
				at := float64(day)
				wrongs := truths{
					incidence.At(at).Value - truth[g][d][0],
					revised.At(at).Complement().Value - truth[g][d][1],
					either.At(at).Value - truth[g][d][2],
				}
				for k, wrong := range wrongs {
					s := sums[[3]int{g, d, k}]
					if s == nil {
						s = &[2]float64{}
						sums[[3]int{g, d, k}] = s
					}
					s[0] += wrong
					s[1] += wrong * wrong
				}
			}
		}
	}
	bound := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: seeds - 1}.Quantile(1 - alpha/(2*float64(len(sums))))
	for key, s := range sums {
		mean := s[0] / seeds
		se := math.Sqrt((s[1] - s[0]*mean) / (seeds - 1) / seeds)
		if z := mean / se; !(math.Abs(z) <= bound) {
			t.Errorf("%s, day %d, %s: off by %.5f, which is %.1f standard errors; at most %.1f", indications[key[0]],
				days[key[1]], [...]string{"incidence", "1 − product-limit", "free of both"}[key[2]], mean, z, bound)
		}
	}
}

// truths is what is true by one day: the cumulative incidence, 1 − product-limit, and the probability of being alive and
// unrevised, which the report does not show but which would give away deaths that are not as stated.
type truths [3]float64

func trueOf(t *testing.T, indication string, days []int32) []truths {
	t.Helper()
	stated, err := Truth(indication, days...)
	if err != nil {
		t.Fatal(err)
	}
	s, err := reverseStratum(indication)
	if err != nil {
		t.Fatal(err)
	}
	m := newMixture(s)
	out := make([]truths, len(days))
	for i := range days {
		_, free := m.atRisk(float64(days[i]) / daysPerYear)
		out[i] = truths{stated[i].Incidence, stated[i].Revised, free}
	}
	return out
}

func countFirstRevisions(t *testing.T, o Options) *survival.Counts {
	t.Helper()
	r, err := Generate(o)
	if err != nil {
		t.Fatal(err)
	}
	e := r.Episodes()
	counts, err := survival.Count(survival.Data{Exit: e.Exit, Cause: e.Cause, Group: e.Group, Groups: len(e.Groups), Causes: 2})
	if err != nil {
		t.Fatal(err)
	}
	return counts
}

// Second sides are older than first sides and have outlived some of them, which the curves hardly show. Here they are
// counted: the number of second sides for each first side, and their mean age in whole years. Operations are independent
// between patients and a patient has at most one second side, so that the number n of second sides is close to a Poisson
// one and the mean age has the standard error s/√n. A normal deviate beyond 5.5 has a probability of 4·10⁻⁸.
func TestSecondSidesComeAtTheirRate(t *testing.T) {
	b := newBatch(Options{Shoulders: 1, Seed: 31}, newLaw(), 0, nil)
	first, second := map[int]float64{}, map[[2]int]float64{} // second by the strata of both sides
	age, square := map[[2]int]float64{}, map[[2]int]float64{}
	for range 2_000_000 {
		p := b.draw()
		one, two := p.inRegistry()
		if one {
			first[p.stratum]++
		}
		if two {
			a := math.Floor(p.exact + float64(p.gap)/daysPerYear)
			sides := [2]int{p.stratum, p.second}
			second[sides]++
			age[sides] += a
			square[sides] += a * a
		}
	}
	check := func(from, to int, weight float64) {
		sides := [2]int{from, to}
		name := indicationCodes.ours[strata[from].indication] + ", then " + indicationCodes.ours[strata[to].indication]
		rate, wantAge := secondSides(&strata[from])
		n := second[sides]
		near(t, name+": second sides for a first", n/first[from], weight*rate, 5.5*math.Sqrt(n)/first[from])
		mean := age[sides] / n
		near(t, name+": mean age at the second", mean, wantAge, 5.5*math.Sqrt((square[sides]/n-mean*mean)/n))
	}
	const cuffTear, anatomicPlace = 1, 9
	check(0, 0, 1) // the first strata are those of the three indications
	check(cuffTear, cuffTear, 0.90)
	check(2, 2, 1)
	check(cuffTear, anatomicPlace, 0.10)
	check(anatomicPlace, cuffTear, 0.25)
}

// secondSides returns what the truth takes for the number of second sides for each first side, wherever they cross to,
// and their mean age.
func secondSides(s *stratum) (rate, meanAge float64) {
	parts, weights := nodes(partNodes, 0, 1)
	for age := youngest; age <= oldest+6; age++ {
		for asa := range int16(len(asaDeath)) {
			for i, part := range parts {
				women := s.secondShare(s.ages(), float64(age)+part, asa, s.death*sexAsaDeath(female, asa))
				men := s.secondShare(s.ages(), float64(age)+part, asa, s.death*sexAsaDeath(male, asa))
				share := weights[i] * (s.female*women + (1-s.female)*men)
				rate += share
				meanAge += share * float64(age)
			}
		}
	}
	return rate, meanAge / rate
}

// The slow, obvious twin of Truth: every person by herself, and everything continuous in steps taken at their middle:
// eighths of a year of age, 193 days between sides, fortieths of a year of follow-up. That leaves an error of the order of
// the steps' squares, and a second side may take a birthday too early or too late: 10⁻⁵ allows for both. A fault in one
// ratio or in the weight of second sides moves the results by 10⁻⁴ and more.
func TestTruthAgainstItsSlowTwin(t *testing.T) {
	const name = "cuff_tear_arthropathy" // no ratio is 1, and second sides are common
	s, err := reverseStratum(name)
	if err != nil {
		t.Fatal(err)
	}
	people := slowPeople()
	ratios, shares := slowRatios(s)
	const step = 0.025 // the breaks of the revision hazard are multiples of it
	var incidence, hazard float64
	for k := range 200 {
		at := (float64(k) + 0.5) * step
		revising, unrevised := map[float64]float64{}, map[float64]float64{} // by ratio of age and sex, which repeat
		var events, free float64
		for _, p := range people {
			if _, known := unrevised[p.revision]; !known {
				for j, ratio := range ratios {
					r := ratio * p.revision
					u := shares[j] * math.Exp(-r*baseRevision(at))
					unrevised[p.revision] += u
					revising[p.revision] += u * r * baseRevisionRate(at)
				}
			}
			alive := p.share * math.Exp(-p.death*cumulativeDeath(p.exact, at))
			events += alive * revising[p.revision]
			free += alive * unrevised[p.revision]
		}
		incidence += step * events
		hazard += step * events / free
	}
	got, err := Truth(name, 1826) // 5 years less a quarter of a day
	if err != nil {
		t.Fatal(err)
	}
	near(t, "incidence", got[0].Incidence, incidence, 1e-5)
	near(t, "1 − product-limit", got[0].Revised, -math.Expm1(-hazard), 1e-5)
}

// On whole days the product-limit estimator has one step a day; its limit is the product over the days of 1 − the share
// revised that day of those at risk when it begins. The comment of Truth says how near that is.
func TestWholeDaysMakeNoDifference(t *testing.T) {
	s, err := reverseStratum("fracture")
	if err != nil {
		t.Fatal(err)
	}
	m := newMixture(s)
	logFree := 0.0
	for day := range 3652 {
		from, to := float64(day)/daysPerYear, float64(day+1)/daysPerYear
		density, _ := m.atRisk((from + to) / 2)
		revised := density / daysPerYear
		if baseRevisionRate(from) != baseRevisionRate(to) { // the hazard breaks during the day
			revised, _ = m.follow(from, to)
		}
		_, free := m.atRisk(from)
		logFree += math.Log1p(-revised / free)
	}
	got, err := Truth("fracture", 3652)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "1 − product-limit", got[0].Revised, -math.Expm1(logFree), 1e-5)
}

// What is drawn by inverting a hazard has that hazard.
func TestInversesInvert(t *testing.T) {
	for _, years := range []float64{0.01, 0.25, 0.6, 1, 3, 5, 12, 40} {
		near(t, "years to revision", whenRevised(baseRevision(years)), years, 1e-12*years)
		near(t, "years to death", whenDead(71.3, cumulativeDeath(71.3, years)), years, 1e-12*years)
	}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.9f, want %.9f ± %g", what, got, want, tolerance)
	}
}

// slowPerson is a share of the shoulders that agree in everything that revision and death depend on, but for implant and
// hospital.
type slowPerson struct{ share, exact, death, revision float64 }

// slowPeople lists the shoulders with cuff-tear arthropathy: first sides with each of eight exact ages in a year, for each of
// them the nine in ten second sides that do not cross, and those of the one in four second sides that cross from anatomic
// replacements of joints with a cuff that works. Second sides are 193 days apart.
func slowPeople() []slowPerson {
	arthropathy, intact := &strata[placeOf(cuffTearArthropathy, reverse)], &strata[placeOf(oaIntactCuff, anatomic)]
	people := slices.Concat(slowSides(arthropathy, arthropathy.share, arthropathy.share*0.90), slowSides(intact, 0, intact.share*0.25))
	var total float64
	for _, p := range people {
		total += p.share
	}
	for i := range people {
		people[i].share /= total
	}
	return people
}

// slowSides lists the first and the second sides of the patients of a stratum with a weight for each.
func slowSides(s *stratum, first, second float64) []slowPerson {
	const parts, every = 8, 193 // nine times 193 are the days from minGap to maxGap
	var people []slowPerson
	for i, ageShare := range s.ages() {
		for _, sex := range []int16{female, male} {
			for asa := range int16(4) {
				age := youngest + i
				death := s.death * sexAsaDeath(sex, asa)
				share := ageShare * asaShares[asaBand(age)][asa] * s.female / parts
				if sex == male {
					share *= (1 - s.female) / s.female
				}
				for part := range parts {
					exact := float64(age) + (float64(part)+0.5)/parts
					people = append(people, slowPerson{first * share, exact, death, ageSexRevision(age, sex)})
					for gap := minGap + every/2; gap <= maxGap; gap += every {
						years := float64(gap) / daysPerYear
						later := exact + years
						lives := math.Exp(-death * cumulativeDeath(exact, years))
						of := second * share * s.second * lives * math.Exp(-growth*years) * every / (maxGap - minGap + 1)
						people = append(people, slowPerson{of, later, death, ageSexRevision(int(later), sex)})
					}
				}
			}
		}
	}
	return people
}

// slowRatios lists the ratios of revision of each implant in each hospital.
func slowRatios(s *stratum) (ratios, shares []float64) {
	for _, im := range implants[s.procedure] {
		for h, share := range hospitalShares() {
			ratios = append(ratios, s.revision*im.revision*hospitalRevision[h])
			shares = append(shares, share*im.share)
		}
	}
	return ratios, shares
}

func TestTruthRefusesWhatItCannotSay(t *testing.T) {
	for _, ask := range []func() ([]True, error){
		func() ([]True, error) { return Truth("oa_deficient", 365) },
		func() ([]True, error) { return Truth("avascular_necrosis", 365) },
		func() ([]True, error) { return Truth("fracture", 365, -1) },
	} {
		_, err := ask()
		var p *schemas.Problem
		if !errors.As(err, &p) || p.Allowed == "" || p.Remedy == "" {
			t.Errorf("error %v, want a problem with what is allowed and what to do", err)
		}
	}
}

// Days may come in any order; nothing has happened on day 0; both answers rise, and death keeps the first below the
// second.
func TestTruthBehavesLikeProbabilities(t *testing.T) {
	got, err := Truth("fracture", 3652, 0, 100, 3652)
	if err != nil {
		t.Fatal(err)
	}
	if got[0] != got[3] || got[1].Incidence != 0 || got[1].Revised != 0 {
		t.Errorf("%v: want the same twice for day 3652 and nothing on day 0", got)
	}
	if !(0 < got[2].Incidence && got[2].Incidence < got[2].Revised && got[2].Revised < got[0].Incidence &&
		got[0].Incidence < got[0].Revised && got[0].Revised < 1) {
		t.Errorf("%v: want 0 < incidence < revised < 1, both rising", got)
	}
}
