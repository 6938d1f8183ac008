package draft

import (
	"strings"
	"unicode"
)

// words are the names under which exports hold our fields, in English, German and French, without accents, blanks and
// marks. A name that is missing belongs here.
var words = map[string][]string{
	"patient": {"pat", "patid", "patno", "patnr", "patientid", "patientno", "patientnumber", "patientnr", "pid", "id", "case", "caseid", "caseno", "casenumber", "subject", "subjectid",
		"studyid", "pseudonym", "person", "personid", "fall", "fallnr", "fallnummer", "patientennummer", "patientennr", "patientenid", "npatient", "nopatient", "numeropatient", "idpatient", "sujet"},
	"side": {"laterality", "seite", "opseite", "cote", "coteopere", "lateralite", "lado", "lato", "sida", "shoulderside", "opside"},
	"day": {"date", "opdate", "operationdate", "dateofoperation", "surgerydate", "dateofsurgery", "opdatum", "operationsdatum", "eingriffsdatum", "proceduredate", "datum", "fecha",
		"operatedat", "dateoperation", "datechirurgie", "dateintervention", "dateop"},
	"procedure": {"kind", "type", "optype", "proceduretype", "operation", "operationtype", "implanttype", "prosthesistype", "eingriff", "eingriffsart", "prothese", "prothesentyp", "prothesenart",
		"implantattyp", "typedeprothese", "typeprothese", "typedimplant", "typeimplant", "intervention"},
	"occasion": {"primaryrevision", "primaryorrevision", "optypeprimary", "primary", "primarrevision", "primarerevision", "erstwechselop", "erstoderwechsel", "erstoperation", "primaireoureprise",
		"primairereprise", "primairerevision", "premiereintention"},
	"indication": {"diagnosis", "diag", "primarydiagnosis", "indicationcode", "diagnose", "hauptdiagnose", "indikation", "diagnostic"},
	"age":        {"ageyears", "ageatop", "ageatsurgery", "ageatoperation", "alter", "alterjahre", "alterinjahren", "alterbeiop", "edad", "leeftijd", "agealoperation", "ageenannees"},
	"sex":        {"gender", "geschlecht", "sexe", "sexo", "kon", "geslacht"},
	"bmi":        {"bodymassindex", "imc"}, "asa": {"asaclass", "asagrade", "asascore", "asaklasse"},
	"hospital": {"unit", "site", "hospitalcode", "hospitalid", "centre", "center", "clinic", "klinik", "krankenhaus", "haus", "hopital", "clinique", "etablissement"},
	"surgeon":  {"operator", "surgeoncode", "surgeonid", "operateur", "chirurg", "chirurgien"},
	"cuff":     {"cuffstatus", "rotatorcuff", "rotatorenmanschette", "coiffe"}, "arthritis_grade": {"oagrade"}, "acromiohumeral_distance": {"ahd", "ahdmm"},
	"humeral_implant": {"humcode", "stem", "stemcode", "humeralcode", "schaft", "tige"}, "glenoid_implant": {"glencode", "glenoid", "baseplate", "glenoidcode", "basisplatte", "embase"},
	"fixation": {"cement", "cemented", "fixationtype", "fixierung", "zement", "zementierung", "ciment"}, "approach": {"surgicalapproach", "zugang", "voiedabord"},
	"reason": {"why", "revisionreason", "reasonforrevision", "cause", "grund", "revisionsgrund", "wechselgrund", "motif", "motifdereprise", "causedereprise"}, "exchanged": {"changed", "partsexchanged", "gewechselt"},
	"complication": {"what", "complicationtype", "event", "komplikation"}, "treatment": {"treated", "behandlung", "traitement"},
	"instrument": {"score", "scorename", "questionnaire", "prom", "fragebogen"}, "value": {"points", "total", "scorevalue", "result", "punkte", "wert", "valeur"},
	"follow_up": {"time", "followup", "months", "years", "futime", "survivaltime", "etime", "fu", "followupmonths", "followupyears", "followupdays", "fumonths", "fuyears", "fudays", "fuweeks",
		"monthsoffollowup", "monate", "jahre", "nachbeobachtung", "nachbeobachtungmonate", "suivi", "suivimois", "suivians", "recul", "reculmois"},
	"outcome":   {"status", "event", "ev", "censor", "endstatus", "ausgang", "statut", "etat", "issue"},
	"entry_day": {"entry", "delayedentry"},
}

// days are further names of the field day that depend on what the table is about.
var days = map[string][]string{
	"revisions":     {"revdate", "revisiondate", "dateofrevision", "reopdate", "revisedat", "revisedon", "revisionsdatum", "wechseldatum", "datereprise", "datedereprise", "daterevision"},
	"deaths":        {"deathdate", "dateofdeath", "diedon", "died", "dod", "todesdatum", "sterbedatum", "verstorbenam", "datedeces", "datededeces"},
	"scores":        {"scoredate", "visitdate", "assessmentdate", "askedon", "dateofscore", "besuchsdatum", "datevisite"},
	"contacts":      {"contactdate", "visitdate", "seenon", "lastseen", "lastcontact", "lastvisit", "letzterkontakt", "dernierevisite"},
	"complications": {"complicationdate", "foundon", "onset"},
}

// files are words in the name of a file that speak of a table.
var files = map[string][]string{
	"procedures": {"procedure", "operation", "surger", "index", "primar", "eingriff", "intervention"}, "revisions": {"revision", "reop", "wechsel", "reprise"}, "deaths": {"death", "mortal", "died", "todes", "tote", "deces"},
	"scores": {"score", "prom", "questionnaire"}, "contacts": {"contact", "visit", "followup"}, "complications": {"complication", "adverse"}, "shoulders": {"shoulder", "ready", "cohort"},
}

// codeWords are what exports write for our codes, in small letters without accents, blanks and hyphens. They are words that
// mean one thing only.
var codeWords = map[string]map[string]string{
	"side": {"l": "left", "r": "right", "li": "left", "re": "right", "lt": "left", "rt": "right", "links": "left", "rechts": "right", "gauche": "left", "droite": "right", "droit": "right",
		"izquierda": "left", "derecha": "right"},
	"sex": {"f": "female", "m": "male", "w": "female", "woman": "female", "man": "male", "weiblich": "female", "maennlich": "male", "mannlich": "male", "femme": "female", "homme": "male",
		"feminin": "female", "masculin": "male"},
	"asa": {"i": "1", "ii": "2", "iii": "3", "iv": "4", "v": "5", "asai": "1", "asaii": "2", "asaiii": "3", "asaiv": "4"},
	"procedure": {"rsa": "reverse", "rtsa": "reverse", "inverse": "reverse", "invers": "reverse", "inverseprothese": "reverse", "inversee": "reverse", "protheseinversee": "reverse",
		"tsa": "anatomic", "anatomical": "anatomic", "anatomisch": "anatomic", "anatomischeprothese": "anatomic", "anatomique": "anatomic", "protheseanatomique": "anatomic",
		"hemi": "hemi", "ha": "hemi", "hemiprothese": "hemi", "hemiarthroplasty": "hemi", "plate": "plate", "orif": "plate", "platte": "plate", "plattenosteosynthese": "plate", "plaque": "plate"},
	"occasion": {"first": "primary", "erstop": "primary", "primar": "primary", "primaereingriff": "primary", "primaire": "primary", "wechselop": "revision", "wechsel": "revision", "reprise": "revision"},
	"indication": {"defektarthropathie": "cuff_tear_arthropathy", "cta": "cuff_tear_arthropathy", "omarthropathieexcentree": "cuff_tear_arthropathy", "fraktur": "fracture", "humeruskopffraktur": "fracture", "proximalehumerusfraktur": "fracture", "fractureproximaledelhumerus": "fracture",
		"frakturfolgen": "fracture_sequelae", "sequellesdefracture": "fracture_sequelae", "tumor": "tumour", "tumeur": "tumour"},
	"reason": {"infekt": "infection", "infektion": "infection", "instabilitat": "instability", "luxation": "instability", "instabilite": "instability", "dislocation": "instability"},
	"outcome": {"alive": "unrevised", "censored": "unrevised", "revision": "revised", "death": "died", "dead": "died", "revidiert": "revised", "verstorben": "died", "tot": "died",
		"decede": "died", "reprise": "revised"},
	"instrument": {"constantmurley": "constant", "cs": "constant", "oss": "oxford", "ssv": "subjective", "quickdash": "quickdash"},
}

// letters writes letters with marks without them.
var letters = strings.NewReplacer("à", "a", "á", "a", "â", "a", "ã", "a", "ä", "a", "å", "a", "æ", "ae", "ç", "c", "è", "e", "é", "e", "ê", "e", "ë", "e", "ì", "i", "í", "i",
	"î", "i", "ï", "i", "ñ", "n", "ò", "o", "ó", "o", "ô", "o", "õ", "o", "ö", "o", "ø", "o", "œ", "oe", "ù", "u", "ú", "u", "û", "u", "ü", "u", "ý", "y", "ÿ", "y", "ß", "ss")

// folded is a text in small letters without accents.
func folded(s string) string { return letters.Replace(strings.ToLower(s)) }

// plainName is a name of a column without accents, blanks and marks.
func plainName(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return r
		}
		return -1
	}, folded(s))
}

// plainCode is a code without accents and the marks between words; other marks can be what tells two codes apart.
func plainCode(s string) string {
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune(" _-./()[]", r) {
			return -1
		}
		return r
	}, folded(s))
}
