package clinical

import "fmt"

// Item is one question of the weekly check-in.
type Item uint8

// The items, in the order in which they are asked.
const (
	Limping  Item = iota // limping on an ordinary walk
	Soreness             // flinching, licking or crying out when touched or moving
	Night                // unsettled nights
	Rising               // getting up
	Walking              // how far and how fast on the usual walk
	Steps                // steps, the car, the sofa
	Own1                 // first everyday thing that matters to this owner and dog
	Own2                 // second everyday thing

	// ItemCount is the number of items.
	ItemCount = 8
)

var itemCodes = [ItemCount]string{
	"limping", "soreness", "night", "rising", "walking", "steps", "own1", "own2",
}

// String gives the item's stable code, used in stored records and files.
func (i Item) String() string {
	if int(i) >= ItemCount {
		return fmt.Sprintf("item(%d)", uint8(i))
	}
	return itemCodes[i]
}

// ItemByCode finds an item by its code; false where there is none of that name.
func ItemByCode(code string) (Item, bool) {
	for i, c := range itemCodes {
		if c == code {
			return Item(i), true
		}
	}
	return 0, false
}

// Half is one of the two halves of the index.
type Half uint8

// The halves of the index.
const (
	Pain     Half = iota // limping, soreness, night
	Mobility             // rising, walking, steps and the two own activities
)

// String gives the half's stable code.
func (h Half) String() string {
	if h == Pain {
		return "pain"
	}
	return "mobility"
}

// Half tells which half of the index the item counts in.
func (i Item) Half() Half {
	if i <= Night {
		return Pain
	}
	return Mobility
}

// IsOwn tells whether the item is one of the two activities chosen per dog.
func (i Item) IsOwn() bool { return i == Own1 || i == Own2 }

// Level is an answer to an item: 0 (no trouble) to 4 (worst), or one of the two
// named non-answers below.
type Level int8

const (
	// Missing means that the item was asked and not answered. It stays in the
	// denominator of the half-of-items rule.
	Missing Level = -1
	// NotApplicable means that the item does not apply to this dog. It leaves the
	// denominator.
	NotApplicable Level = -2
	// MaxLevel is the worst answer.
	MaxLevel Level = 4
)

// Answered tells whether the level is a real answer, 0 to 4.
func (l Level) Answered() bool { return l >= 0 && l <= MaxLevel }

// Items holds one check-in's answers by item. The zero value is a dog without
// any trouble; start from NoAnswers when filling answers in one by one.
type Items [ItemCount]Level

// NoAnswers is a check-in to which nothing has been answered yet.
func NoAnswers() Items {
	var items Items
	for i := range items {
		items[i] = Missing
	}
	return items
}

// pack squeezes the eight levels into four bytes: level + 2 in each half byte.
func (it *Items) pack() uint32 {
	var p uint32
	for i, l := range it {
		p |= uint32(l+2) << (4 * i)
	}
	return p
}

// unpackItems is the inverse of pack; it refuses half bytes that no level has.
func unpackItems(p uint32) (Items, error) {
	var it Items
	for i := range it {
		l := Level(p>>(4*i)&15) - 2
		if l > MaxLevel {
			return Items{}, fmt.Errorf("stored answer to %s: %w", Item(i), ErrLevel)
		}
		it[i] = l
	}
	return it, nil
}
