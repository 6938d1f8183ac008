package power

import (
	"errors"
	"strings"
	"testing"
)

// whole is a design that can be, for each kind; the tests break one assumption at a time.
func whole(id string) Given {
	over := Given{At: Is(5), Loss: Is(.03), Deaths: Is(.02), Recruitment: Is(2), FollowUp: Is(4), Power: Is(.8)}
	score := Given{SD: Is(10), Loss: Is(.1), Power: Is(.8)}
	switch id {
	case "one mean", "two means":
		return add(score, Given{Difference: Is(5)})
	case "paired means", "repeated scores":
		return add(score, Given{Difference: Is(5), Correlation: Is(.5)})
	case "non-inferior mean", "equivalent means":
		return add(score, Given{Difference: Is(0), Margin: Is(4)})
	case "correlation":
		return Given{Correlation: Is(.4), Loss: Is(.1), Power: Is(.8)}
	case "ROC area":
		return Given{Area: Is(.75), Loss: Is(.1), Power: Is(.8)}
	case "one proportion":
		return Given{Proportion: Is(.3), Reference: Is(.2), Loss: Is(.1), Power: Is(.8)}
	case "two proportions":
		return Given{First: Is(.3), Second: Is(.2), Loss: Is(.1), Power: Is(.8)}
	case "non-inferior proportion":
		return Given{First: Is(.05), Second: Is(.05), Margin: Is(.03), Worse: Says("higher"), Loss: Is(.1), Power: Is(.8)}
	case "paired proportions":
		return Given{OnlyFirst: Is(.1), OnlySecond: Is(.2), Loss: Is(.1), Power: Is(.8)}
	case "responders":
		return add(score, Given{MeanFirst: Is(14), MeanSecond: Is(20), Threshold: Is(12)})
	case "survival of two groups", "survival against a benchmark":
		return add(over, Given{First: Is(.1), HazardRatio: Is(.6)})
	case "events for a hazard ratio":
		return Given{HazardRatio: Is(.6), Power: Is(.8)}
	case "hazard of a characteristic":
		return Given{HazardRatio: Is(1.5), Spread: Is(.5), Explained: Is(.2), EventRate: Is(.1), Loss: Is(.1), Power: Is(.8)}
	case "cumulative incidence":
		return add(over, Given{First: Is(.05), Second: Is(.1)})
	case "one rate":
		return Given{Rate: Is(2), Reference: Is(1), Power: Is(.8)}
	case "two rates":
		return Given{RateFirst: Is(2), RateSecond: Is(1), Power: Is(.8)}
	}
	width := Given{HalfWidth: Is(2), SD: Is(10), Loss: Is(.1)}
	switch id {
	case "width of an MCID":
		return add(width, Given{Category: Is(.3)})
	case "width of a proportion":
		return Given{Proportion: Is(.3), HalfWidth: Is(.05), Loss: Is(.1)}
	case "width of a survival":
		g := add(over, Given{First: Is(.1), HalfWidth: Is(.03)})
		delete(g, Power)
		return g
	}
	return width
}

// Each row breaks one assumption of a design that can be. The error names it and says what would be possible.
func TestImpossibleDesigns(t *testing.T) {
	for _, c := range []struct {
		id       string
		broken   Given
		blamed   Name
		possible string
	}{
		{"two means", Given{Difference: Is(0)}, Difference, "other than 0"},
		{"two proportions", Given{Second: Is(.3)}, Second, "other than 0.3"},
		{"survival of two groups", Given{HazardRatio: Is(1)}, HazardRatio, "other than 1"},
		{"survival of two groups", Given{Margin: Is(.5), Sides: Is(1)}, Margin, "above 1"},
		{"survival of two groups", Given{HazardRatio: Is(1.4), Margin: Is(1.3), Sides: Is(1)}, HazardRatio, "below 1.3"},
		{"survival of two groups", Given{Margin: Is(1.3)}, Sides, "1"},
		{"survival of two groups", Given{Margin: Is(1), Sides: Is(1)}, Margin, "above 1"},
		{"survival of two groups", Given{Margin: Is(1.3), Sides: Is(1), Formula: Says(freedman)}, Formula, schoenfeld},
		{"non-inferior mean", Given{Difference: Is(-5)}, Difference, "above -4"},
		{"non-inferior mean", Given{Margin: Is(-4)}, Margin, "above 0"},
		{"equivalent means", Given{Difference: Is(4)}, Difference, "between -4 and 4"},
		{"non-inferior proportion", Given{Second: Is(.09)}, Second, "near side of 0.08"},
		{"non-inferior proportion", Given{Worse: Says("lower"), Margin: Is(.06)}, Margin, "below 0.05"},
		{"two means", Given{Allocation: Is(0)}, Allocation, "above 0"},
		{"two proportions", Given{First: Is(1.2)}, First, "above 0 and below 1"},
		{"two rates", Given{RateFirst: Is(-1)}, RateFirst, "above 0"},
		{"survival of two groups", Given{FollowUp: Is(-1)}, FollowUp, "at least 0"},
		{"survival of two groups", Given{FollowUp: Is(0), Recruitment: Is(0)}, FollowUp, "above 0"},
		{"two means", Given{Power: Is(.04)}, Power, "above 0.05"},
		{"two means", Given{Power: Is(1)}, Power, "below 1"},
		{"two means", Given{Significance: Is(.6)}, Significance, "below 0.5"},
		{"two means", Given{Sides: Is(3)}, Sides, "at most 2"},
		{"two means", Given{Sides: Is(1.5)}, Sides, "1 or 2"},
		{"two means", Given{Loss: Is(1)}, Loss, "below 1"},
		{"two means", Given{SD: Is(0)}, SD, "above 0"},
		{"two means", Given{Size: Is(80)}, Size, "leave one of size, power, difference out"},
		{"two proportions", Given{Test: Says("Barnard")}, Test, "Fisher"},
		{"two proportions", Given{First: Says("a third")}, First, "above 0 and below 1"},
		{"two means", Given{HazardRatio: Is(2)}, HazardRatio, "sd"},
		{"paired proportions", Given{OnlyFirst: Is(.9)}, OnlySecond, "at most 0.1"},
		{"two means", Given{BothShoulders: Is(.2)}, ShoulderLikeness, ""},
		{"two means", Given{HospitalSize: Is(30)}, HospitalVariation, ""},
		{"two means", Given{ComparedWithin: Says("patients")}, BothShoulders, "1, with allocation 1"},
		{"width of a survival", Given{At: Is(7)}, At, "below 6"},
		{"ROC area", Given{Reference: Is(.8)}, Area, "above 0.8"},
	} {
		given := add(whole(c.id), c.broken)
		d, _ := Find(c.id)
		_, err := Solve(d, given)
		var problems Problems
		if !errors.As(err, &problems) {
			t.Errorf("%s %v: no problem found", c.id, c.broken)
			continue
		}
		if p := problems[0]; p.Assumption != c.blamed || !strings.Contains(p.Possible, c.possible) || (p.Possible == "") != p.Missing {
			t.Errorf("%s %v: %v", c.id, c.broken, p)
		}
	}
}

// A size that cannot reach the power, and a size at which no effect can be found, say what would be reached.
func TestOutOfReach(t *testing.T) {
	d, _ := Find("survival of two groups")
	given := whole(d.ID)
	delete(given, HazardRatio)
	_, err := Solve(d, add(given, Given{Size: Is(20), Direction: Says("lower")}))
	if err == nil || !strings.Contains(err.Error(), "no effect can be detected") {
		t.Errorf("20 shoulders with 10%% revised: %v", err)
	}
	_, err = Solve(d, add(given, Given{Size: Is(2000)}))
	if err == nil || !strings.HasPrefix(err.Error(), "direction: is missing") {
		t.Errorf("the direction is not asked for: %v", err)
	}
	d, _ = Find("two means")
	if _, err = Solve(d, Given{Difference: Is(5), SD: Is(1), Loss: Is(0), Size: Is(2)}); err == nil || !strings.Contains(err.Error(), "too few") {
		t.Errorf("one shoulder in each group: %v", err)
	}
	for id, many := range map[string]Given{
		"two rates":       {RateFirst: Is(600), RateSecond: Is(601), Size: Is(1e9)},
		"one rate":        {Rate: Is(600), Reference: Is(600.1), Power: Is(.9)},
		"two proportions": {First: Is(.3), Second: Is(.301), Power: Is(.9), Loss: Is(0), Test: Says(testFisher)},
	} {
		d, _ := Find(id)
		if _, err := Solve(d, many); err == nil || !strings.Contains(err.Error(), "possible: normal") {
			t.Errorf("%s: more outcomes than can be counted: %v", id, err)
		}
	}
}

// Every assumption about the world is asked for by name when it is left out; what the planner chooses is filled in.
func TestEveryAssumptionIsAskedFor(t *testing.T) {
	for _, d := range Designs() {
		given := whole(d.ID)
		if _, err := Solve(d, given); err != nil {
			t.Errorf("%s: %v", d.ID, err)
			continue
		}
		for _, taken := range d.Takes {
			if _, ok := given[taken.Name]; !ok {
				if taken.Usual == nil && !taken.Optional && taken.Name != Size {
					t.Errorf("%s: %s was not given and not asked for", d.ID, taken.Name)
				}
				continue
			}
			left := add(given)
			delete(left, taken.Name)
			_, err := Solve(d, left)
			if err == nil || !strings.Contains(err.Error(), string(taken.Name)+": is missing") {
				t.Errorf("%s without %s: %v", d.ID, taken.Name, err)
			}
		}
	}
}
