package signs

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestDeath(t *testing.T) {
	died := []string{
		"he died last night", "We lost her this morning", "she passed away on sunday",
		"sorry to say bramble has died", "He's gone over the rainbow bridge",
		"we had to have him put to sleep yesterday", "our dog died", "she passed peacefully in my arms",
		"he was put to sleep on monday", "he's no longer with us", "we said goodbye to him yesterday",
		"I'm afraid the dog is dead", "found him dead this morning", "he has passed away",
		"we had to let him go yesterday", "he's gone, peacefully, this morning", "she's gone. this morning",
		"we said goodbye to her on Monday", "put to sleep on Friday", "she was put to sleep on Friday",
		"had to let her go this morning", "we let her go on tuesday, it was time", "over the rainbow bridge",
		"the end came this morning, he's gone", "he died on us last night", "she's at peace now",
		"we had to say goodbye to our boy this morning", "he's not with us any more", "we had him pts on friday",
		"she died, he is very sad without her", "my phone was flat, sorry. he died last night",
	}
	for _, text := range died {
		require.True(t, Screen(text, Context{DogNames: []string{"Bramble"}}).Death, text)
	}
	alive := []string{
		"he nearly died", "the phone died", "my husband died", "my nan passed away", "dead tired after the beach",
		"he's dying for his walk", "nearly died laughing", "next door's dog died", "our old cat died on friday",
		"we lost his lead on the beach", "he lost weight this week", "lost him in the woods for ten minutes, found him again",
		"the battery is dead", "he almost died when he was a pup", "I thought he was dead but he was asleep",
		"he's gone to bed", "she's gone very lame", "the neighbour's cat was put to sleep yesterday",
		"put him down for tuesday please", "our last dog died in 2019",
		"sorry my phone died, he is about a 1", "he died on me halfway up the hill lol", "nearly died",
		"dead to the world", "the car died so we're late", "battery died", "dying for his dinner",
		"the hoover died, he was delighted", "laptop died halfway, she did 3 walks", "my phone's dead, he is fine",
		"the wind died down and he went out", "he's gone mad this morning", "he's gone to my mum's this morning",
		"i turned round and he's gone", "we had to let him go yesterday without his lead",
		"said goodbye to the kids at the airport, he howled", "he didn't make it to the door",
		"he was put to sleep on friday for his x-rays, back home and fine", "we said we'd let him go on monday",
		"we will put him to sleep on friday", "he is being put to sleep tomorrow", "put to sleep booked for friday",
		"smells like something died", "her rear half is dead, front legs ok", "thought I'd lost her at the station, there she was",
		"we thought he'd died, then he came to", "he's died and gone to heaven with his head out of the window",
		"his favourite toy has passed on", "read a story about a beagle that died",
	}
	for _, text := range alive {
		f := Screen(text, Context{})
		require.False(t, f.Death, "%q → %+v", text, f)
	}
}

func TestEuthanasiaAndDistress(t *testing.T) {
	for _, text := range []string{
		"i think it's time to put him to sleep", "should we be thinking about euthanasia",
		"maybe it's time to let her go", "we are talking about having him put down", "is it kinder to say goodbye",
		"we will put him to sleep on friday", "he is being put to sleep tomorrow", "put to sleep booked for friday",
		"we are letting him go on friday", "we have to let her go", "we are saying goodbye to her on monday",
	} {
		f := Screen(text, Context{})
		require.True(t, f.Euthanasia, "%q → %+v", text, f)
		require.False(t, f.Death, text)
		require.GreaterOrEqual(t, f.Urgency, SameDay, text)
	}
	for _, text := range []string{
		"I can't cope any more", "i don't want to live without him", "I can't go on like this", "what's the point, I want to end it all",
	} {
		f := Screen(text, Context{})
		require.True(t, f.Distress, "%q → %+v", text, f)
		require.GreaterOrEqual(t, f.Urgency, SameDay, text)
	}
	for _, text := range []string{
		"put him down for wednesday", "time to let him out", "he can't cope with stairs", "he broke my heart with those eyes",
		"put the kids to sleep", "1 0 0 2 1 1 0", "they put him to sleep for the dental yesterday",
		"the farmer put down bait", "I only put down a handful of pellets", "the box is in bits", "desperate lame this morning",
	} {
		f := Screen(text, Context{})
		require.False(t, f.Euthanasia || f.Distress, "%q → %+v", text, f)
	}
}

// TestDeathAlone: what only the model suspects does not stand beside a death, so
// that a bereaved owner is not told to hurry to a vet.
func TestDeathAlone(t *testing.T) {
	for _, text := range []string{"he's gone, peacefully, this morning", "Meg is gone, she went peacefully last night"} {
		f := Screen(text, Context{})
		require.True(t, f.Death, text)
		require.Equal(t, None, f.Urgency, "%q → %+v", text, f)
	}
}

func TestPersonNeedsHelp(t *testing.T) {
	f := Screen("my dad collapsed this morning, ambulance has him, dog's fine", Context{})
	require.True(t, f.Person)
	require.Equal(t, None, f.Urgency)
	for _, text := range []string{"my husband has collapsed", "i have chest pain", "my wife is having a seizure"} {
		require.True(t, Screen(text, Context{}).Person, text)
	}
	for _, text := range []string{"he collapsed", "my husband found him collapsed", "my dad says the dog collapsed"} {
		require.False(t, Screen(text, Context{}).Person, text)
	}
}
