package demo

// The rows of the six tables as they are drawn. Codes are places in the lists of codes.go; [missing] is a value that is
// not recorded.

type operation struct {
	patient    int32
	day        int32
	side       int16
	procedure  int16
	occasion   int16
	indication int16
	findings
	age      float64 // years
	bmi      float64 // kg/m2
	sex, asa int16
	hospital int16
	surgeon  int16
	humeral  int16
	glenoid  int16
	fixation int16
}

type reoperation struct {
	patient, day            int32
	side, reason, exchanged int16
}

type complication struct {
	patient, day                  int32
	side, complication, treatment int16
}

type death struct{ patient, day int32 }

type score struct {
	patient, day     int32
	side, instrument int16
	value            float64 // points
}

type contact struct {
	patient, day int32
	kind         int16
}

// course is what is true of a reverse replacement for one of the indications with a truth, for tests.
type course struct {
	patient, exit int32
	cause         uint8
	indication    uint8
}

// impossible is a day that is written as 31.02.2016.
const impossible int32 = 1<<31 - 1
