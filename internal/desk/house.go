package desk

import (
	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

// homePart is what a dog's page says of the awkward places at home.
type homePart struct {
	Places  []homeLine // open ones first, newest first
	Waiting bool       // the owner is about to be asked
	AskedAt int64      // when the owner last went round the house
}

type homeLine struct {
	N     uint8
	Place string
	Said  string
	State string
	Open  bool
	At    int64
	Since int64
	By    string
	Asked int
	Next  int64 // when the owner is asked about it again, 0 for not any more
}

func (d *Desk) homeOf(v *visit, dog *care.Dog) homePart {
	p := homePart{AskedAt: dog.HouseAt}
	for _, due := range dog.Due {
		p.Waiting = p.Waiting || due.Kind == care.PromptHouse && due.At > 0
	}
	for _, open := range []bool{true, false} {
		for i := len(dog.House) - 1; i >= 0; i-- {
			h := dog.House[i]
			if (h.State == care.TaskOpen) != open {
				continue
			}
			l := homeLine{N: h.N, Place: capital(h.Place.Name()), Said: h.Said, State: h.State.String(), Open: open,
				At: h.At, Since: h.Since, By: "the owner", Asked: int(h.Asked)}
			if h.By != "" {
				l.By = d.nameOf(v, h.By)
			}
			if h.Next != 0 {
				l.Next = noon(h.Next)
			}
			p.Places = append(p.Places, l)
		}
	}
	return p
}

// noon is an instant on a local date that no zone moves to another.
func noon(day int32) int64 { return int64(day)*daySeconds + daySeconds/2 }

// homeTask solves a place, sets it aside or opens it again.
func (d *Desk) homeTask(v *visit) error {
	return d.onDog(v, "home", account.SetDog, func(dog int8, p *care.Practice, e *account.Entry) error {
		n, err := number(v, "task", 255)
		if err != nil {
			return err
		}
		to, ok := map[string]care.TaskState{"open": care.TaskOpen, "solved": care.TaskSolved, "aside": care.TaskAside}[v.FormValue("to")]
		if !ok {
			return refuse("Please choose whether the place is solved, set aside or open again.")
		}
		p.House, e.Detail = &care.HouseAction{Dog: dog, Task: uint8(n), To: to}, "a place at home is "+to.String()
		return nil
	})
}

// askHome has the owner asked round the house.
func (d *Desk) askHome(v *visit) error {
	return d.onDog(v, "home-asked", account.SetDog, func(dog int8, p *care.Practice, e *account.Entry) error {
		p.House, e.Detail = &care.HouseAction{Dog: dog, Ask: true}, "round the house"
		return nil
	})
}

// ownLine is how one thing that matters to the owner has gone.
type ownLine struct {
	What, First, Last, Word string
	Since, At               int64
	N                       int
}

// ownLines say in the check-in's own words how the owner's activities went.
func ownLines(r *care.Rules, dog *care.Dog) []ownLine {
	var list []ownLine
	for _, p := range dog.OwnProgress() {
		l := ownLine{What: p.What, Since: p.Since, At: p.At, N: p.N, Word: "no answer yet"}
		if p.N > 0 {
			l.First, l.Last = ownWord(r, p.First), ownWord(r, p.Last)
			switch b := p.Better(); {
			case b > 0:
				l.Word = "better"
			case b < 0:
				l.Word = "harder"
			default:
				l.Word = "as it was"
			}
		}
		list = append(list, l)
	}
	return list
}

func ownWord(r *care.Rules, l clinical.Level) string {
	if script, ok := r.Scripts.Script(string(care.PromptCheckIn)); ok {
		if words, _, ok := script.Anchors(clinical.Own1.String(), ""); ok {
			return words[l]
		}
	}
	return itoa(int(l)) + " of 4"
}
