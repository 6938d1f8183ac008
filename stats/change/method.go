package change

// Method is a way to find the improvement (or the state) that matters.
type Method uint8

// The methods. Those from an anchor set the score against what patients said; those from the
// distribution only say what is large compared with spread or error of measurement, and know nothing of what matters.
const (
	// MeanChange: mean improvement of the minimally improved.
	MeanChange Method = iota
	// MeanDifference: mean improvement of the minimally improved minus that of the unchanged.
	MeanDifference
	// Youden: the cut point with the largest sum of sensitivity and specificity.
	Youden
	// ClosestToCorner: the cut point closest to sensitivity and specificity 1.
	ClosestToCorner
	// Predictive: where a row is as likely to be improved as the whole sample is, by logistic regression.
	Predictive
	// PredictiveAdjusted: the same, adjusted for a share of improved other than one half.
	PredictiveAdjusted
	// PredictiveReliable: the same, adjusted also for the reliability of the anchor question.
	PredictiveReliable
	// AcceptableQuartile: the quarter of those in an acceptable state who are worst off starts here; for states only.
	AcceptableQuartile
	// HalfSD: half a standard deviation of the baseline.
	HalfSD
	// FifthSD: a fifth of it.
	FifthSD
	// MeasurementError: the standard error of measurement.
	MeasurementError
	// SmallestDetectable90 and SmallestDetectable95: the smallest change of one row that exceeds error of measurement, at 90 and
	// at 95%.
	SmallestDetectable90
	SmallestDetectable95
	// SmallestDetectableGroup90 and SmallestDetectableGroup95: the same for the mean of all rows with a change.
	SmallestDetectableGroup90
	SmallestDetectableGroup95
	// EffectSize: mean improvement over the standard deviation of the baseline; a ratio, not a threshold.
	EffectSize
	// ResponseMean: mean improvement over the standard deviation of the improvement; a ratio, not a threshold.
	ResponseMean

	methods = int(ResponseMean) + 1
)

var methodText = [methods]string{
	"mean change of the minimally improved", "difference of mean changes", "cut point by Youden's index", "cut point closest to the corner",
	"predictive modelling", "predictive modelling, adjusted for the proportion improved", "predictive modelling, adjusted for reliability",
	"quartile of those in an acceptable state", "half a standard deviation", "a fifth of a standard deviation", "standard error of measurement",
	"smallest detectable change, 90%", "smallest detectable change, 95%", "smallest detectable change of the group, 90%",
	"smallest detectable change of the group, 95%", "effect size", "standardised response mean",
}

// String returns the method in plain words.
func (m Method) String() string {
	if int(m) < methods {
		return methodText[m]
	}
	return "unknown method"
}

// FromAnchor reports whether the method uses the anchor.
func (m Method) FromAnchor() bool { return m <= AcceptableQuartile }

// Ratio reports whether the number is a ratio instead of points of the score.
func (m Method) Ratio() bool { return m == EffectSize || m == ResponseMean }

// Measure is what an anchor question is about.
type Measure uint8

const (
	// OfChange: the anchor asks how much has changed, and thresholds are points of improvement.
	OfChange Measure = iota
	// OfState: the anchor asks whether the present state is acceptable, and thresholds are scores.
	OfState
)

// String returns the measure in plain words.
func (m Measure) String() string {
	if m == OfState {
		return "state"
	}
	return "change"
}
