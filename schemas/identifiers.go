package schemas

import (
	"strings"
	"unicode"
)

// Identifier is one of the 18 identifiers that the de-identification rule of the United States lists in
// 45 CFR 164.514(b)(2)(i), by its letter there. The rule's words are shortened.
type Identifier struct {
	Letter string // "A" to "R"
	Title  string
	names  []string // words in the name of a column that speak of it; see speaksOf
}

// Identifiers returns the 18 identifiers in the order of the rule.
func Identifiers() []Identifier { return append([]Identifier(nil), identifiers[:]...) }

// The places of the identifiers in the list.
const (
	idName = iota
	idPlace
	idDate
	idTelephone
	idFax
	idMail
	idSocial
	idRecord
	idPlan
	idAccount
	idLicence
	idVehicle
	idDevice
	idWeb
	idAddress
	idBody
	idPhotograph
	idOther
)

// The words are those of English, German, French, Spanish, Italian, Dutch and the Scandinavian languages, without their
// marks. A word of one's own language that is missing belongs here.
var identifiers = [18]Identifier{
	idName: {"A", "names", []string{"=name", "surname", "last name", "first name", "family name", "given name", "middle name", "maiden name",
		"forename", "full name", "patient name", "name of patient", "pat name", "surgeon name", "operator name", "doctor name", "initials",
		"nachname", "vorname", "familienname", "geburtsname", "patientenname", "=nom", "nom de famille", "nom patient", "prenom", "=nombre",
		"nombre paciente", "apellido", "apellidos", "cognome", "=nome", "nome paziente", "achternaam", "voornaam", "=naam", "geslachtsnaam",
		"fornavn", "etternavn", "efternavn", "efternamn", "fornamn", "navn", "=namn"}},
	idPlace: {"B", "places smaller than a state", []string{"street", "address", "house number", "house no", "city", "town", "village",
		"zip", "zip code", "postcode", "post code", "postal code", "postcod", "strasse", "hausnummer", "adresse", "anschrift", "plz", "postleitzahl",
		"wohnort", "=ort", "=rue", "=ville", "code postal", "=commune", "direccion", "calle", "ciudad", "codigo postal", "indirizzo",
		"citta", "=comune", "straat", "adres", "woonplaats", "postnummer", "postnr", "gata", "latitude", "longitude", "geocode", "county", "parish"}},
	idDate: {"C", "dates of birth, and ages over 89", []string{"dob", "date of birth", "birth date", "birthday", "birth dt", "dateofbirth",
		"born on", "geburtsdatum", "geb datum", "gebdat", "geburtstag", "date de naissance", "date naissance", "ddn", "fecha de nacimiento",
		"fecha nacimiento", "data di nascita", "data nascita", "geboortedatum", "fodselsdato", "fodselsdag", "fodelsedatum"}},
	idTelephone: {"D", "telephone numbers", []string{"phone", "telephone", "tel", "tel no", "telefon", "telefono", "telefoon", "=mobile", "=mobil", "mobile phone",
		"mobile no", "cell phone", "movil", "gsm"}},
	idFax:  {"E", "fax numbers", []string{"fax", "fax number", "telefax"}},
	idMail: {"F", "e-mail addresses", []string{"email", "e mail", "mail", "mail address", "correo", "courriel", "epost"}},
	idSocial: {"G", "social security and other national numbers", []string{"ssn", "social security", "national number", "national id", "national insurance",
		"nhs number", "nhs no", "nino", "personal number", "personal id", "personal code", "personnummer", "personnr", "fodselsnummer", "cpr", "cpr nr", "bsn", "nir",
		"numero de securite sociale", "numero securite sociale", "insee", "dni", "=nie", "codice fiscale", "pesel", "ahv", "ahv nummer", "sozialversicherungsnummer",
		"henkilotunnus", "hetu", "passport"}},
	idRecord: {"H", "medical record numbers", []string{"mrn", "medical record", "medical record number", "hospital number", "hospital no", "hosp no", "chart number",
		"chart no", "record number", "record no", "case note", "case notes number", "case number", "accession", "accession number", "accession no", "krankenakte",
		"aktennummer", "fallnummer", "fall nr", "fallnr", "patientennummer", "patienten nr", "numero de dossier", "numero dossier", "nip", "ipp",
		"historia clinica", "numero historia", "nhc", "cartella clinica", "dossiernummer", "journalnummer", "journal nr"}},
	idPlan: {"I", "health plan numbers", []string{"insurance number", "insurance no", "insurance id", "policy number", "policy no", "member id", "beneficiary",
		"medicare", "medicaid", "medicare number", "versichertennummer", "krankenversicherungsnummer", "kvnr", "verzekeringsnummer"}},
	idAccount:    {"J", "account numbers", []string{"account", "account number", "account no", "iban", "=bank", "kontonummer", "invoice", "invoice number", "billing number"}},
	idLicence:    {"K", "certificate and licence numbers", []string{"licence", "license", "licence number", "license number", "certificate number", "driving licence", "drivers license", "gmc number", "npi"}},
	idVehicle:    {"L", "vehicle identifiers", []string{"vehicle", "number plate", "license plate", "licence plate", "=vin", "kennzeichen"}},
	idDevice:     {"M", "device identifiers and serial numbers", []string{"serial", "serial number", "serial no", "serialnumber", "udi", "device id", "imei", "mac address", "seriennummer", "numero de serie"}},
	idWeb:        {"N", "web addresses", []string{"url", "website", "web site", "homepage", "web address"}},
	idAddress:    {"O", "internet addresses of computers", []string{"ip", "ip address", "ipaddress", "ip addr", "hostname"}},
	idBody:       {"P", "biometric identifiers", []string{"fingerprint", "biometric", "retina scan", "iris scan", "voice print", "voiceprint", "genome", "dna"}},
	idPhotograph: {"Q", "photographs of the face", []string{"photo", "photograph", "portrait", "picture", "foto", "image of face", "face image"}},
	idOther: {"R", "other unique numbers, and free text", []string{"comment", "comments", "remark", "remarks", "note", "notes", "free text", "freetext", "narrative",
		"operation note", "op note", "bemerkung", "bemerkungen", "kommentar", "freitext", "anmerkung", "commentaire", "observaciones", "comentario", "opmerking", "anmerkning",
		"next of kin", "=relative", "employer"}},
}

// plainLetters takes the marks off the letters of the languages above.
var plainLetters = strings.NewReplacer("ä", "a", "à", "a", "á", "a", "â", "a", "å", "a", "ã", "a", "ç", "c", "é", "e", "è", "e", "ê", "e", "ë", "e",
	"í", "i", "ì", "i", "î", "i", "ï", "i", "ñ", "n", "ö", "o", "ó", "o", "ò", "o", "ô", "o", "ø", "o", "ü", "u", "ú", "u", "ù", "u", "û", "u",
	"ß", "ss", "æ", "ae", "œ", "oe", "ý", "y")

// speaksOf returns the identifier that a column's name speaks of, and the words that say so, the longest ones there are
// ("mail address" before "address"). Words count when they stand side by side in the name as words of it
// ("PAT_LAST_NAME", "patLastName"), or are the whole name written as one ("lastname"). Words that begin with = count only
// as the whole name.
func speaksOf(header string) (which int, words string, ok bool) {
	parts := nameWords(header)
	spaced := " " + strings.Join(parts, " ") + " "
	joined := strings.Join(parts, "")
	for i := range identifiers {
		for _, w := range identifiers[i].names {
			whole := strings.TrimPrefix(w, "=")
			if len(whole) > len(words) && (strings.ReplaceAll(whole, " ", "") == joined || whole == w && strings.Contains(spaced, " "+w+" ")) {
				which, words, ok = i, whole, true
			}
		}
	}
	return which, words, ok
}

// nameWords cuts the name of a column into lower-case words: at everything that is no letter, and before a capital that
// follows a small letter.
func nameWords(header string) []string {
	var b strings.Builder
	small := false
	for _, r := range header {
		if !unicode.IsLetter(r) {
			b.WriteByte(' ')
			small = false
			continue
		}
		capital := unicode.IsUpper(r)
		if capital && small {
			b.WriteByte(' ')
		}
		small = !capital
		b.WriteRune(unicode.ToLower(r))
	}
	return strings.Fields(plainLetters.Replace(b.String()))
}
