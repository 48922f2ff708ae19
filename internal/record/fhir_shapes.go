package record

import "encoding/json"

// What is used here of FHIR R4 (4.0.1, hl7.org/fhir/R4), and nothing else of it.

type fhirCoding struct {
	System  string `json:"system,omitempty"`
	Code    string `json:"code,omitempty"`
	Display string `json:"display,omitempty"`
}

type fhirConcept struct {
	Coding []fhirCoding `json:"coding,omitempty"`
	Text   string       `json:"text,omitempty"`
}

type fhirIdentifier struct {
	System string `json:"system,omitempty"`
	Value  string `json:"value,omitempty"`
}

type fhirReference struct {
	Reference  string          `json:"reference,omitempty"`
	Identifier *fhirIdentifier `json:"identifier,omitempty"`
	Display    string          `json:"display,omitempty"`
}

type fhirExtension struct {
	URL          string          `json:"url"`
	Extension    []fhirExtension `json:"extension,omitempty"`
	ValueConcept *fhirConcept    `json:"valueCodeableConcept,omitempty"`
}

type fhirName struct {
	Text string `json:"text,omitempty"`
}

type fhirTelecom struct {
	System string `json:"system"`
	Value  string `json:"value"`
}

type fhirPatient struct {
	ResourceType string           `json:"resourceType"`
	ID           string           `json:"id"`
	Extension    []fhirExtension  `json:"extension"`
	Identifier   []fhirIdentifier `json:"identifier,omitempty"`
	Active       bool             `json:"active"`
	Name         []fhirName       `json:"name"`
	Gender       string           `json:"gender"`
	DeceasedAt   string           `json:"deceasedDateTime,omitempty"`
	Managing     fhirReference    `json:"managingOrganization"`
}

type fhirRelated struct {
	ResourceType string        `json:"resourceType"`
	ID           string        `json:"id"`
	Patient      fhirReference `json:"patient"`
	Relationship []fhirConcept `json:"relationship"`
	Name         []fhirName    `json:"name,omitempty"`
	Telecom      []fhirTelecom `json:"telecom,omitempty"`
}

type fhirOption struct {
	ValueCoding fhirCoding `json:"valueCoding"`
}

type fhirQuestion struct {
	LinkID       string       `json:"linkId"`
	Text         string       `json:"text"`
	Type         string       `json:"type"`
	AnswerOption []fhirOption `json:"answerOption,omitempty"`
}

type fhirQuestionnaire struct {
	ResourceType string         `json:"resourceType"`
	ID           string         `json:"id"`
	URL          string         `json:"url"`
	Version      string         `json:"version"`
	Title        string         `json:"title"`
	Status       string         `json:"status"`
	SubjectType  []string       `json:"subjectType"`
	Publisher    string         `json:"publisher,omitempty"`
	Description  string         `json:"description"`
	Item         []fhirQuestion `json:"item"`
}

type fhirAnswer struct {
	ValueCoding  *fhirCoding `json:"valueCoding,omitempty"`
	ValueBoolean *bool       `json:"valueBoolean,omitempty"`
}

type fhirAnswered struct {
	LinkID string       `json:"linkId"`
	Text   string       `json:"text,omitempty"`
	Answer []fhirAnswer `json:"answer"`
}

type fhirResponse struct {
	ResourceType  string         `json:"resourceType"`
	ID            string         `json:"id"`
	Questionnaire string         `json:"questionnaire"`
	Status        string         `json:"status"`
	Subject       fhirReference  `json:"subject"`
	Authored      string         `json:"authored"`
	Author        *fhirReference `json:"author,omitempty"`
	Source        *fhirReference `json:"source,omitempty"`
	Item          []fhirAnswered `json:"item,omitempty"`
}

type fhirQuantity struct {
	Value  json.Number `json:"value"`
	Unit   string      `json:"unit"`
	System string      `json:"system"`
	Code   string      `json:"code"`
}

type fhirNote struct {
	Text string `json:"text"`
}

type fhirComponent struct {
	Code     fhirConcept   `json:"code"`
	Quantity *fhirQuantity `json:"valueQuantity,omitempty"`
}

type fhirMeta struct {
	Profile []string `json:"profile"`
}

type fhirObservation struct {
	ResourceType string          `json:"resourceType"`
	ID           string          `json:"id"`
	Meta         *fhirMeta       `json:"meta,omitempty"`
	Status       string          `json:"status"`
	Category     []fhirConcept   `json:"category"`
	Code         fhirConcept     `json:"code"`
	Subject      fhirReference   `json:"subject"`
	Effective    string          `json:"effectiveDateTime"`
	Performer    []fhirReference `json:"performer,omitempty"`
	Quantity     *fhirQuantity   `json:"valueQuantity,omitempty"`
	Note         []fhirNote      `json:"note,omitempty"`
	DerivedFrom  []fhirReference `json:"derivedFrom,omitempty"`
	Component    []fhirComponent `json:"component,omitempty"`
}

type fhirPeriod struct {
	Start string `json:"start,omitempty"`
	End   string `json:"end,omitempty"`
}

type fhirDetail struct {
	Code        fhirConcept     `json:"code"`
	Status      string          `json:"status"`
	Reason      *fhirConcept    `json:"statusReason,omitempty"`
	Period      *fhirPeriod     `json:"scheduledPeriod,omitempty"`
	Performer   []fhirReference `json:"performer,omitempty"`
	Description string          `json:"description,omitempty"`
}

type fhirActivity struct {
	Detail fhirDetail `json:"detail"`
}

type fhirCarePlan struct {
	ResourceType string         `json:"resourceType"`
	ID           string         `json:"id"`
	Status       string         `json:"status"`
	Intent       string         `json:"intent"`
	Category     []fhirConcept  `json:"category"`
	Title        string         `json:"title"`
	Subject      fhirReference  `json:"subject"`
	Created      string         `json:"created"`
	Activity     []fhirActivity `json:"activity,omitempty"`
}

type fhirEntry struct {
	FullURL  string `json:"fullUrl"`
	Resource any    `json:"resource"`
}
