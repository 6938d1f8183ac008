package draft

import "strings"

// words are the names under which exports hold our fields, without blanks and marks. A name that is missing belongs here.
var words = map[string][]string{
	"patient":    {"pat", "patid", "patno", "patnr", "patientid", "patientno", "patientnumber", "patientnr", "pid", "id", "case", "caseid", "subject", "subjectid", "studyid", "pseudonym", "person", "personid"},
	"side":       {"laterality", "seite", "cote", "lado", "lato", "sida", "shoulderside", "opside"},
	"day":        {"date", "opdate", "operationdate", "dateofoperation", "surgerydate", "dateofsurgery", "opdatum", "proceduredate", "datum", "fecha"},
	"procedure":  {"kind", "type", "optype", "proceduretype", "operation", "operationtype", "implanttype", "prosthesistype", "eingriff"},
	"occasion":   {"primaryrevision", "primaryorrevision", "optypeprimary", "primary"},
	"indication": {"diagnosis", "diag", "primarydiagnosis", "indicationcode", "diagnose", "indikation"},
	"age":        {"ageyears", "ageatop", "ageatsurgery", "ageatoperation", "alter", "edad", "leeftijd"},
	"sex":        {"gender", "geschlecht", "sexe", "sexo", "kon", "geslacht"},
	"bmi":        {"bodymassindex"}, "asa": {"asaclass", "asagrade", "asascore"},
	"hospital": {"unit", "site", "hospitalcode", "hospitalid", "centre", "center", "clinic", "klinik"},
	"surgeon":  {"operator", "surgeoncode", "surgeonid", "operateur"},
	"cuff":     {"cuffstatus", "rotatorcuff"}, "arthritis_grade": {"oagrade"}, "acromiohumeral_distance": {"ahd", "ahdmm"},
	"humeral_implant": {"humcode", "stem", "stemcode", "humeralcode"}, "glenoid_implant": {"glencode", "glenoid", "baseplate", "glenoidcode"},
	"fixation": {"cement", "cemented", "fixationtype"}, "approach": {"surgicalapproach"},
	"reason": {"why", "revisionreason", "reasonforrevision", "cause", "grund"}, "exchanged": {"changed", "partsexchanged"},
	"complication": {"what", "complicationtype", "event"}, "treatment": {"treated"},
	"instrument": {"score", "scorename", "questionnaire", "prom"}, "value": {"points", "total", "scorevalue", "result"},
	"follow_up": {"time", "followup", "months", "years", "futime", "survivaltime", "etime", "fu", "followupmonths", "followupyears", "followupdays"},
	"outcome":   {"status", "event", "ev", "censor", "endstatus"},
	"entry_day": {"entry", "delayedentry"},
}

// days are further names of the field day that depend on what the table is about.
var days = map[string][]string{
	"revisions":     {"revdate", "revisiondate", "dateofrevision", "reopdate"},
	"deaths":        {"deathdate", "dateofdeath", "diedon", "died", "dod", "todesdatum"},
	"scores":        {"scoredate", "visitdate", "assessmentdate", "askedon", "dateofscore"},
	"contacts":      {"contactdate", "visitdate", "seenon", "lastseen", "lastcontact", "lastvisit"},
	"complications": {"complicationdate", "foundon", "onset"},
}

// files are words in the name of a file that speak of a table.
var files = map[string][]string{
	"procedures": {"procedure", "operation", "surger", "index", "primar", "eingriff"}, "revisions": {"revision", "reop"}, "deaths": {"death", "mortal", "died"},
	"scores": {"score", "prom", "questionnaire"}, "contacts": {"contact", "visit", "followup"}, "complications": {"complication", "adverse"}, "shoulders": {"shoulder", "ready", "cohort"},
}

// codeWords are what exports write for our codes, in small letters. They are words that mean one thing only.
var codeWords = map[string]map[string]string{
	"side":       {"l": "left", "r": "right", "li": "left", "re": "right", "links": "left", "rechts": "right", "gauche": "left", "droite": "right", "izquierda": "left", "derecha": "right"},
	"sex":        {"f": "female", "m": "male", "w": "female", "woman": "female", "man": "male", "weiblich": "female", "maennlich": "male"},
	"asa":        {"i": "1", "ii": "2", "iii": "3", "iv": "4", "v": "5"},
	"procedure":  {"rsa": "reverse", "rtsa": "reverse", "tsa": "anatomic", "hemi": "hemi", "ha": "hemi", "plate": "plate", "orif": "plate"},
	"outcome":    {"alive": "unrevised", "censored": "unrevised", "revision": "revised", "death": "died", "dead": "died"},
	"occasion":   {"first": "primary"},
	"instrument": {"constant-murley": "constant", "cs": "constant", "oss": "oxford", "ssv": "subjective", "quick-dash": "quickdash"},
}

// plainName takes blanks and marks out of a name.
func plainName(s string) string {
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune(" _-./()[]", r) {
			return -1
		}
		return r
	}, strings.ToLower(s))
}
