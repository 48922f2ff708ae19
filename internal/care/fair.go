package care

// Two dogs of one household share one conversation. A check-in that nobody
// answers must not keep the other dog's away for days: once it would have been
// reminded of, it makes room for the one that waits. What was answered of it is
// kept, and it is asked again afterwards, if its time is not up.

// waitsBehind is the place in the queue of a check-in of another dog than the
// open one's, or -1.
func waitsBehind(talk *Conversation, o *Open) int {
	if o.Kind != PromptCheckIn {
		return -1
	}
	for i, p := range talk.Queue {
		if p.Kind == PromptCheckIn && p.Dog != o.Dog {
			return i
		}
	}
	return -1
}

// makeRoom lets another dog's check-in take the place of one that is due its
// reminder. It reports whether it did.
func (t *turn) makeRoom(contact int8, o *Open) bool {
	talk := &t.h.Contacts[contact].Talk
	i := waitsBehind(talk, o)
	if i < 0 || talk.Handover > t.at || !t.freeFor(PromptCheckIn, ForPrompt) {
		return false
	}
	next := talk.Queue[i]
	talk.Queue = append(talk.Queue[:i:i], talk.Queue[i+1:]...)
	if t.h.Dogs[next.Dog].Status != Followed {
		return false
	}
	t.standBack(contact)
	t.openPrompt(contact, next, ForPrompt)
	t.countOpened(next.Kind, ForPrompt)
	return true
}

// standBack suspends the open dialog. One that stood back before it has had its
// turn twice, and ends.
func (t *turn) standBack(contact int8) {
	talk := &t.h.Contacts[contact].Talk
	if was := talk.Suspended; was != nil {
		talk.Suspended = nil
		open := talk.Open
		t.closeStale(contact, was)
		t.h.Contacts[contact].Talk.Open = open
	}
	talk.Suspended, talk.Open = talk.Open, nil
}

// yields reports whether an open check-in that was reminded of already makes
// room for another dog's that falls due.
func (t *turn) yields(o *Open, p Prompt) bool {
	return o.Kind == PromptCheckIn && p.Kind == PromptCheckIn && o.Dog != p.Dog && o.Reminded && !t.safetyOpen(o)
}
