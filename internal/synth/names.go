package synth

import "gaitpost/internal/care"

// ownerNames are first names only, and belong to nobody.
var ownerNames = []string{
	"Ruth", "Gareth", "Moira", "Priya", "Colin", "Denise", "Ahmed", "Sally", "Tomasz", "Bronwen",
	"Keith", "Yasmin", "Elspeth", "Derek", "Lorna", "Ivan", "Maureen", "Stuart", "Chloe", "Winston",
	"Fiona", "Barry", "Anneka", "Trevor", "Siobhan", "Raj", "Hilary", "Neville", "Agnes", "Dylan",
	"Carol", "Femi", "Joan", "Patrick", "Tilda", "Hamish", "Olga", "Vernon",
}

var dogNames = []struct {
	name string
	sex  care.Sex
}{
	{"Bramble", care.Male}, {"Tess", care.Female}, {"Otis", care.Male}, {"Meg", care.Female}, {"Rufus", care.Male},
	{"Nell", care.Female}, {"Barney", care.Male}, {"Willow", care.Female}, {"Monty", care.Male}, {"Jess", care.Female},
	{"Archie", care.Male}, {"Poppy", care.Female}, {"Digby", care.Male}, {"Skye", care.Female}, {"Fergus", care.Male},
	{"Ivy", care.Female}, {"Toby", care.Male}, {"Bonnie", care.Female}, {"Hector", care.Male}, {"Pippa", care.Female},
	{"Basil", care.Male}, {"Hattie", care.Female}, {"Murphy", care.Male}, {"Fern", care.Female}, {"Dougal", care.Male},
	{"Lottie", care.Female}, {"Gus", care.Male}, {"Maisie", care.Female}, {"Alfie", care.Male}, {"Floss", care.Female},
	{"Rolo", care.Male}, {"Dora", care.Female}, {"Bruno", care.Male}, {"Tilly", care.Female}, {"Wilf", care.Male},
	{"Mabel", care.Female}, {"Scout", care.Male}, {"Honey", care.Female}, {"Kipper", care.Male}, {"Betsy", care.Female},
	{"Angus", care.Male}, {"Mollie", care.Female}, {"Sorrel", care.Female}, {"Biscuit", care.Male},
}

// ownActivities are at most 24 characters, as a prompt has room for.
var ownActivities = []string{
	"jumping into the car", "fetching the ball", "greeting at the door", "getting on the sofa",
	"playing with the cat", "the hill to the farm", "rolling in the grass", "trotting beside me",
}
