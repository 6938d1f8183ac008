package demo

import "fmt"

// codeList is a list of codes as deltoid writes them and as the invented registry does. Rows hold places in it.
type codeList struct {
	ours, theirs []string
	token        bool   // the registry writes NA for a missing value; without it the cell is empty
	unknown      string // a code of the registry's that has no translation, for planting a defect
}

func codes(pairs ...[2]string) *codeList {
	l := &codeList{}
	for _, p := range pairs {
		l.ours, l.theirs = append(l.ours, p[0]), append(l.theirs, p[1])
	}
	return l
}

// with changes a list under construction: codes(…).with(…).
func (l *codeList) with(token bool, unknown string) *codeList {
	l.token, l.unknown = token, unknown
	return l
}

// numbered makes codes that are the same in both forms: K01, K02, …
func numbered(format string, n int) *codeList {
	l := &codeList{}
	for i := range n {
		l.ours = append(l.ours, fmt.Sprintf(format, i+1))
	}
	l.theirs = l.ours
	return l
}

// plain makes codes that are the same in both forms.
func plain(list ...string) *codeList { return &codeList{ours: list, theirs: list} }

// missing is the code of a value that is not recorded.
const missing int16 = -1

// Places in the list of procedures.
const (
	reverse int16 = iota
	anatomic
	hemi
	plate
)

// Places in the list of indications.
const (
	oaDeficientCuff int16 = iota
	cuffTearArthropathy
	fracture
	fractureSequelae
	oaIntactCuff
	massiveCuffTear
	inflammatory
	avascularNecrosis
	instability
	tumour
)

// Places in other lists that the generator names.
const (
	primaryOccasion, revisionOccasion int16 = 0, 1
	female, male                      int16 = 0, 1
	unknownSide                       int16 = 2
	otherReason                       int16 = 10
	exchangedAll                      int16 = 0
	exchangedGlenoid                  int16 = 2
	exchangedModular                  int16 = 3
	constantScore, oxfordScore        int16 = 0, 1
	ratingOfChange, acceptableState   int16 = 2, 3
)

var (
	sideCodes      = codes([2]string{"left", "L"}, [2]string{"right", "R"}).with(false, "B")
	procedureCodes = codes([2]string{"reverse", "RSA"}, [2]string{"anatomic", "TSA"}, [2]string{"hemi", "HEMI"},
		[2]string{"plate", "ORIF"})
	occasionCodes   = codes([2]string{"primary", "FIRST"}, [2]string{"revision", "AGAIN"})
	indicationCodes = codes([2]string{"oa_deficient_cuff", "OA-CUFF"}, [2]string{"cuff_tear_arthropathy", "CTA"},
		[2]string{"fracture", "FX"}, [2]string{"fracture_sequelae", "FX-OLD"}, [2]string{"oa_intact_cuff", "OA"},
		[2]string{"massive_cuff_tear", "TEAR"}, [2]string{"inflammatory", "RA"}, [2]string{"avascular_necrosis", "AVN"},
		[2]string{"instability", "INST"}, [2]string{"tumour", "TUM"})
	cuffCodes = codes([2]string{"intact", "0"}, [2]string{"partial_tear", "P"}, [2]string{"full_tear", "F"},
		[2]string{"massive_tear", "M"}, [2]string{"deficient", "D"}).with(true, "")
	gradeCodes = codes([2]string{"none", "0"}, [2]string{"mild", "1"}, [2]string{"moderate", "2"},
		[2]string{"severe", "3"}).with(true, "")
	migrationCodes = plain("1", "2", "3", "4a", "4b", "5")
	fractureCodes  = codes([2]string{"none", "NO"}, [2]string{"acute", "NEW"}, [2]string{"sequelae", "OLD"})
	tuberCodes     = codes([2]string{"intact", "OK"}, [2]string{"fractured", "FX"}, [2]string{"malunited", "MAL"},
		[2]string{"not_united", "NON"}, [2]string{"absent", "ABS"})
	headCodes = codes([2]string{"viable", "V"}, [2]string{"at_risk", "R"}, [2]string{"split", "S"},
		[2]string{"necrotic", "N"}, [2]string{"collapsed", "C"})
	deltoidCodes = codes([2]string{"normal", "FULL"}, [2]string{"impaired", "WEAK"}, [2]string{"absent", "NONE"})
	sexCodes     = codes([2]string{"female", "F"}, [2]string{"male", "M"})
	asaCodes     = codes([2]string{"1", "I"}, [2]string{"2", "II"}, [2]string{"3", "III"}, [2]string{"4", "IV"})
	fixCodes     = codes([2]string{"cemented", "CEM"}, [2]string{"uncemented", "PRESS"}, [2]string{"hybrid", "MIX"})

	hospitalCodes = numbered("K%02d", hospitals)
	surgeonCodes  = numbered("S%03d", hospitals*surgeonsPerPlace)
	humeralCodes  = plain("H-101", "H-102", "H-203", "H-207", "H-301", "H-302", "P-11")
	glenoidCodes  = plain("G-101", "G-102", "G-203", "G-207", "G-301", "G-302")

	reasonCodes = codes([2]string{"infection", "INF"}, [2]string{"instability", "DISL"},
		[2]string{"loosening_glenoid", "LOOSE-G"}, [2]string{"loosening_humeral", "LOOSE-H"},
		[2]string{"components_apart", "APART"}, [2]string{"periprosthetic_fracture", "FX-PP"},
		[2]string{"acromial_fracture", "FX-ACR"}, [2]string{"breakage", "BREAK"}, [2]string{"wear", "WEAR"},
		[2]string{"stiffness_or_pain", "PAIN"}, [2]string{"other", "OTH"})
	exchangedCodes = codes([2]string{"all", "ALL"}, [2]string{"humeral", "HUM"}, [2]string{"glenoid", "GLEN"},
		[2]string{"liner_or_head", "LINER"}, [2]string{"removed_all", "OUT"}, [2]string{"none", "NONE"})
	complicationCodes = codes([2]string{"infection", "INF"}, [2]string{"instability", "DISL"},
		[2]string{"nerve_injury", "NERVE"}, [2]string{"acromial_fracture", "FX-ACR"},
		[2]string{"periprosthetic_fracture", "FX-PP"}, [2]string{"loosening", "LOOSE"}, [2]string{"haematoma", "HAEM"},
		[2]string{"thromboembolism", "CLOT"}, [2]string{"stiffness", "STIFF"}, [2]string{"other", "OTH"})
	treatmentCodes = codes([2]string{"none", "NONE"}, [2]string{"without_operation", "CONS"},
		[2]string{"operation", "OP"})
	instrumentCodes = codes([2]string{"constant", "CS"}, [2]string{"oxford", "OX"}, [2]string{"rating", "CHANGED"},
		[2]string{"acceptable", "CONTENT"})
	contactCodes = codes([2]string{"visit", "V"}, [2]string{"questionnaire", "Q"}, [2]string{"call", "C"},
		[2]string{"register", "R"})
)
