package clinical

import "fmt"

// Grams is a body mass. 1 to 200,000 for a dog; zero is not a weight.
type Grams int64

// MaxGrams is more than any dog on record weighed (155.6 kg, from memory).
const MaxGrams Grams = 200_000

// Kilograms is the same mass in kg.
func (g Grams) Kilograms() float64 { return float64(g) / 1000 }

// GramsOf turns kg into whole grams.
func GramsOf(kg float64) Grams {
	if kg < 0 {
		return -GramsOf(-kg)
	}
	return Grams(kg*1000 + 0.5)
}

// Scale says where a dog was weighed. The two are never taken for the same.
type Scale uint8

// The scales.
const (
	Home   Scale = iota // bathroom scale, dog held or alone: standard error 0.25 kg
	Clinic              // the practice's walk-on scale: standard error 0.1 kg
)

// String gives the scale's stable code.
func (s Scale) String() string {
	switch s {
	case Home:
		return "home"
	case Clinic:
		return "clinic"
	}
	return fmt.Sprintf("scale(%d)", uint8(s))
}

// ScaleByCode finds a scale by its code; false where there is none of that name.
func ScaleByCode(code string) (Scale, bool) {
	switch code {
	case "home":
		return Home, true
	case "clinic":
		return Clinic, true
	}
	return 0, false
}

// WeighIn is one weight. Field numbers are never used again for anything else.
type WeighIn struct {
	At    int64 `cbor:"1,keyasint"` // unix seconds
	Grams Grams `cbor:"2,keyasint"`
	Scale Scale `cbor:"3,keyasint,omitempty"`
}
