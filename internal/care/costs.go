package care

// Costs is what messages cost a clinic and how long its staff take, as it has
// set them. Nothing is decided by it: the outcomes are counted with it.
type Costs struct {
	// Currency is its ISO 4217 code; "" where none is set.
	Currency string
	// Sent and Received are the price of one segment of a text message, in
	// Currency; nil where none is set.
	Sent, Received *float64
	// Minutes is how long an alert with an outcome usually takes, where nobody
	// wrote down how long it took; none for an outcome that is not here.
	Minutes map[Outcome]int
}

// MaxMinutes is the longest that one alert may be said to have taken: a day of
// eight hours. What is longer is a slip of the pen.
const MaxMinutes = 480
