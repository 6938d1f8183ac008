package survival

import (
	"fmt"
	"math"

	"deltoid/stats/dist"
)

// Scale is the scale on which the interval of a probability is symmetric.
type Scale uint8

// The scales, with the function that is taken to be normal.
const (
	// LogLog is log(−log p), the usual one: its limits stay between 0 and 1 and keep their
	// level in small groups better than the plain ones.
	LogLog Scale = iota
	// Plain is p itself; limits outside 0 to 1 are cut off there.
	Plain
	// Log is log p; a limit above 1 is cut off there.
	Log
	// Logit is log(p/(1−p)).
	Logit
	// ArcsineRoot is arcsin √p.
	ArcsineRoot
)

var scaleText = [...]string{
	LogLog: "complementary log-log", Plain: "plain", Log: "log", Logit: "logit", ArcsineRoot: "arcsine square root",
}

// String returns the name of the scale as a footnote gives it.
func (s Scale) String() string {
	if int(s) < len(scaleText) {
		return scaleText[s]
	}
	return "unknown scale"
}

// CheckLevel refuses a level that is not a probability above one half and below one (0.95, not
// 0.05 and not 95), and a scale that does not exist.
func CheckLevel(level float64, scale Scale) error {
	if !(level > 0.5 && level < 1) {
		return fmt.Errorf("confidence level is %v, want a probability above 0.5 and below 1, such as 0.95", level)
	}
	if int(scale) >= len(scaleText) {
		return fmt.Errorf("interval scale %d does not exist, want 0 to %d", scale, len(scaleText)-1)
	}
	return nil
}

// Limits returns the limits of a probability p strictly between 0 and 1 with standard error se:
// g⁻¹(g(p) ± z·se·|g′(p)|), with g the function of the scale and z the normal quantile.
//
// Source: Borgan & Liestøl, Scand. J. Stat. 17 (1990) 35–41; Kalbfleisch & Prentice, The
// Statistical Analysis of Failure Time Data (1980), section 1.3, for LogLog.
func (s Scale) Limits(p, se, level float64) (lower, upper float64) {
	half := float64(dist.NormalSpread(level) * se)
	switch s {
	case Plain:
		return max(0, p-half), min(1, p+half)
	case Log:
		return p * math.Exp(-half/p), min(1, p*math.Exp(half/p))
	case Logit:
		step := half / float64(p*(1-p))
		centre := math.Log(p / (1 - p))
		return logistic(centre - step), logistic(centre + step)
	case ArcsineRoot:
		step := half / (2 * math.Sqrt(p*(1-p)))
		centre := math.Asin(math.Sqrt(p))
		return squareSine(max(0, centre-step)), squareSine(min(math.Pi/2, centre+step))
	}
	step := half / math.Abs(float64(p*math.Log(p)))
	return math.Pow(p, math.Exp(step)), math.Pow(p, math.Exp(-step))
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

func squareSine(x float64) float64 {
	s := math.Sin(x)
	return s * s
}
