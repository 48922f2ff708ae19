package dialog

// locale holds the few words that a text is filled in with.
type locale struct {
	english, own     string // the language's name, in English and in itself
	yes, no          string // on buttons
	fallback         string // said where a stored line's step is no longer known
	soon             string
	today, tomorrow  string
	onDay, onDate    string // before a day of the week, before a date
	afterDay         string // between the short day and the date
	weekly           string
	yourDog, eachDog string
	from             string // somebody of a practice
	text             string // the channel of text messages
	date             string // day and month
	days, short      [7]string
	months           [12]string
	placeholders     map[string]string // what stands where a value isn't known
}

// locales are the languages that texts are filled in in. The fallback loses
// nothing: it sends the owner to the practice.
var locales = map[string]*locale{
	english: {
		english: "English", own: "English", yes: "Yes", no: "No",
		fallback: "Please ring {practice} on {phone}. If it can't wait and we are closed, ring {emergency}.",
		soon:     "soon", today: "today", tomorrow: "tomorrow", onDay: "on ", onDate: "on ", afterDay: " ", weekly: "once a week",
		yourDog: "your dog", eachDog: "each of your dogs", from: "%s from %s", text: "text", date: "%d %s",
		days:   [7]string{"Sunday", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday"},
		short:  [7]string{"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"},
		months: [12]string{"January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"},
	},
	"es": {
		english: "Spanish", own: "español", yes: "Sí", no: "No",
		fallback: "Por favor, llame a {practice}: {phone}. Si es urgente y no abrimos, llame al {emergency}.",
		soon:     "en breve", today: "hoy", tomorrow: "mañana", onDay: "el ", onDate: "el ", afterDay: " ", weekly: "cada semana",
		yourDog: "su perro", eachDog: "cada uno de sus perros", from: "%s, de %s", text: "SMS", date: "%d de %s",
		days:   [7]string{"domingo", "lunes", "martes", "miércoles", "jueves", "viernes", "sábado"},
		short:  [7]string{"dom", "lun", "mar", "mié", "jue", "vie", "sáb"},
		months: [12]string{"enero", "febrero", "marzo", "abril", "mayo", "junio", "julio", "agosto", "septiembre", "octubre", "noviembre", "diciembre"},
		placeholders: map[string]string{
			"dog": "su perro", "practice": "la clínica", "vet": "el veterinario", "phone": "el teléfono de siempre",
			"emergency": "urgencias veterinarias", "opens": "por la mañana", "medicine": "la medicina",
			"own1": "lo primero que eligió", "own2": "lo segundo que eligió", "reads": "en breve", "frequency": "cada semana",
			"person_number": "el servicio de emergencias", "crisis": "un teléfono de ayuda", "weight": "el peso", "target": "el objetivo",
			"date": "ese día", "better": "cómo va todo", "who": "la clínica", "thing": "eso", "channel": "otro canal",
			"tail": "ya sabe", "link": "el enlace de la clínica", "dogs": "sus perros",
		},
	},
	"fr": {
		english: "French", own: "français", yes: "Oui", no: "Non",
		fallback: "Merci d'appeler {practice} : {phone}. Si c'est urgent et que nous sommes fermés, appelez le {emergency}.",
		soon:     "sous peu", today: "aujourd'hui", tomorrow: "demain", onDay: "", onDate: "le ", afterDay: " ", weekly: "chaque semaine",
		yourDog: "votre chien", eachDog: "chacun de vos chiens", from: "%s, de %s", text: "SMS", date: "%d %s",
		days:   [7]string{"dimanche", "lundi", "mardi", "mercredi", "jeudi", "vendredi", "samedi"},
		short:  [7]string{"dim.", "lun.", "mar.", "mer.", "jeu.", "ven.", "sam."},
		months: [12]string{"janvier", "février", "mars", "avril", "mai", "juin", "juillet", "août", "septembre", "octobre", "novembre", "décembre"},
		placeholders: map[string]string{
			"dog": "votre chien", "practice": "le cabinet", "vet": "le vétérinaire", "phone": "notre numéro",
			"emergency": "les urgences vétérinaires", "opens": "au matin", "medicine": "le médicament",
			"own1": "votre premier choix", "own2": "votre second choix", "reads": "sous peu", "frequency": "chaque semaine",
			"person_number": "les secours", "crisis": "une ligne d'écoute", "weight": "le poids", "target": "l'objectif",
			"date": "ce jour", "better": "son état", "who": "le cabinet", "thing": "cela", "channel": "un autre canal",
			"tail": "connu", "link": "le lien du cabinet", "dogs": "vos chiens",
		},
	},
	"de": {
		english: "German", own: "Deutsch", yes: "Ja", no: "Nein",
		fallback: "Bitte rufen Sie {practice} an: {phone}. Wenn es nicht warten kann und wir geschlossen haben: {emergency}.",
		soon:     "bald", today: "heute", tomorrow: "morgen", onDay: "am ", onDate: "am ", afterDay: " ", weekly: "jede Woche",
		yourDog: "Ihr Hund", eachDog: "jeder Ihrer Hunde", from: "%s von %s", text: "SMS", date: "%d. %s",
		days:   [7]string{"Sonntag", "Montag", "Dienstag", "Mittwoch", "Donnerstag", "Freitag", "Samstag"},
		short:  [7]string{"So", "Mo", "Di", "Mi", "Do", "Fr", "Sa"},
		months: [12]string{"Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August", "September", "Oktober", "November", "Dezember"},
		placeholders: map[string]string{
			"dog": "Ihr Hund", "practice": "die Praxis", "vet": "der Tierarzt", "phone": "der Praxisnummer",
			"emergency": "den Tier-Notdienst", "opens": "am Morgen", "medicine": "das Mittel",
			"own1": "Ihr erster Wunsch", "own2": "Ihr zweiter Wunsch", "reads": "bald", "frequency": "jede Woche",
			"person_number": "den Rettungsdienst", "crisis": "ein Sorgentelefon", "weight": "das Gewicht", "target": "das Ziel",
			"date": "dem Tag", "better": "das Befinden", "who": "die Praxis", "thing": "das", "channel": "anderem Weg",
			"tail": "bekannt", "link": "den Link der Praxis", "dogs": "Ihre Hunde",
		},
	},
}

// fallbackOf is what stands where a placeholder's value isn't known.
func fallbackOf(p Placeholder, lang string) string {
	if l, ok := locales[lang]; ok {
		if v, ok := l.placeholders[p.Name]; ok {
			return plainValue(v, false)
		}
		if lang != english && (p.Name == "he" || p.Name == "him" || p.Name == "his") {
			return plainValue(l.placeholders["dog"], false)
		}
	}
	return p.Fallback
}

// longestDate is how long a date with its day of the week grows, in characters:
// "mercredi 30 septembre".
var longestDate = map[string]int{"es": 20, "fr": 21, "de": 17}
