package care

import (
	"gaitpost/internal/clinical"
	"gaitpost/internal/signs"
)

// taking returns the active entry of a class on the dog's plan, or nil.
func (d *Dog) taking(c MedicineClass) *Entry {
	for i := range d.Plan {
		if d.Plan[i].Class == c && d.Plan[i].Status == Active {
			return &d.Plan[i]
		}
	}
	return nil
}

// takes reports whether a class is on the plan and may still act: active, or
// held under suspicion.
func (d *Dog) takes(c MedicineClass) bool {
	for i := range d.Plan {
		if d.Plan[i].Class == c && d.Plan[i].Status != Ended {
			return true
		}
	}
	return false
}

// medicine is the first active medicine that the owner gives, or nil. An
// injection is given at the practice: nobody at home can miss a dose of it.
func (d *Dog) medicine() *Entry {
	for i := range d.Plan {
		e := &d.Plan[i]
		if e.Class != NotMedicine && e.Class != Antibody && e.Status == Active {
			return e
		}
	}
	return nil
}

// newest is the medicine that began last and has not ended, or nil.
func (d *Dog) newest() *Entry {
	var last *Entry
	for i := range d.Plan {
		e := &d.Plan[i]
		if e.Class != NotMedicine && e.Status != Ended && (last == nil || e.Started > last.Started) {
			last = e
		}
	}
	return last
}

// treated reports whether a medicine is on the plan, held under suspicion or
// not: a dog that somebody should go on watching.
func (d *Dog) treated() bool {
	for i := range d.Plan {
		if d.Plan[i].Class != NotMedicine && d.Plan[i].Status != Ended {
			return true
		}
	}
	return false
}

// onLossPlan reports whether weight loss is on the plan.
func (d *Dog) onLossPlan() bool {
	for i := range d.Plan {
		if d.Plan[i].Area == AreaWeight && d.Plan[i].Status == Active {
			return true
		}
	}
	return false
}

// entry returns the plan entry with an id, or nil.
func (d *Dog) entry(id uint16) *Entry {
	for i := range d.Plan {
		if d.Plan[i].ID == id {
			return &d.Plan[i]
		}
	}
	return nil
}

func (d *Dog) nextEntryID() uint16 {
	id := uint16(0)
	for _, e := range d.Plan {
		id = max(id, e.ID)
	}
	for _, e := range d.Withdrawn {
		id = max(id, e.ID)
	}
	return id + 1
}

// ignores reports whether the practitioner agreed to ignore a sign for now.
func (d *Dog) ignores(s signs.Sign, at int64) bool {
	for _, q := range d.Quieted {
		if q.Sign == s && q.Until > at {
			return true
		}
	}
	return false
}

// before gives the last answered level of each item, for SAME.
func (d *Dog) before() map[string]int {
	last, ok := d.Course.Last()
	if !ok {
		return nil
	}
	m := make(map[string]int, clinical.ItemCount)
	for i, l := range last.Items {
		if l.Answered() {
			m[clinical.Item(i).String()] = int(l)
		}
	}
	return m
}

// due returns the dog's due entry of a kind, making one where there is none.
func (d *Dog) due(k PromptKind) *Due {
	for i := range d.Due {
		if d.Due[i].Kind == k {
			return &d.Due[i]
		}
	}
	d.Due = append(d.Due, Due{Kind: k})
	return &d.Due[len(d.Due)-1]
}
