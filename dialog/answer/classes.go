package answer

// Word classes. A word may have several. The lexicon file names them as in
// classNames.
const (
	cNumWord   classes = 1 << iota // has a value: "two", "zero"
	cPolite                        // hello, thanks, love: carries no answer
	cSoft                          // small words that may stand around an answer
	cArticle                       // a, an, the
	cAdj                           // a *solid* 2
	cLead                          // may stand right before an answer: "say 2", "limping 2"
	cFollow                        // may stand right after one: "2 today"
	cHedge                         // about, roughly, maybe
	cNeg                           // not, isnt
	cCorr                          // sorry, wait, actually, meant
	cPast                          // was, were, had
	cNow                           // now, today
	cLast                          // last, previous: with a time word, an old value
	cPeriod                        // week, month, time, visit
	cTimePrep                      // at, by, until: a time of day follows
	cAmPm                          // am, pm, oclock
	cDayPart                       // morning, afternoon
	cDay                           // monday …
	cMonth                         // january …
	cAgeUnit                       // years, yo, months
	cAgeLead                       // aged, turned
	cCount                         // walks, times, miles: what is counted is not a level
	cCurrency                      // quid, dollars
	cUnit                          // kg, lb …: has a mass
	cOtherUnit                     // cm, ml, degrees
	cLabel                         // page, day, room: numbers something
	cSubject                       // he, she, hes: "he's 4" is an age
	cAsk                           // what, how, should: opens a question
	cIf                            // if, unless
	cOr                            // to, or: joins a range
	cBetween                       // between
	cZero                          // none, never: level 0 as a whole answer
	cSign                          // limp, pain, bother: "no limping"
	cUp                            // up, down, from: a change
	cVerb                          // walked, managed: a count or a tale follows
	cYes                           // yes, yep, aye
	cNo                            // no, nah
	cGood                          // fine, grand, well
	cBut                           // but, except, apart
	cMe                            // me, i, myself: a person on the scale
	cGain                          // lost, gained: a change of weight
	cGoal                          // target, goal, ideal
	cBag                           // bag, food, kibble
	cScore                         // bcs, condition: a score of body shape
	cAll                           // all, everything
	cRest                          // rest, others
	cJoin                          // and, plus
	cMaybe                         // dunno, unsure: no answer by itself
	cWith                          // with, holding, carrying
	cSuffix                        // st, nd, rd, th
	cPoint                         // point: decimal sign in words
	cHalf                          // half
	cIsVerb                        // is, its
	cRating                        // score, level, number, rate: a level follows
	cKnow                          // sure, know: "not sure if" supposes nothing
	cPointer                       // the, this, which: "the bad one" is no number
	cFar                           // nowhere, hardly: turn well-being round
	cDegree                        // a little, very: may tell two anchors apart
	cWeigh                         // weighed, scales: a weight follows
	cOther                         // husband, cat: not this dog
	cYesAlone                      // sure, absolutely: yes only by itself
	cItem                          // stairs, nights: what a level is of
	cTemp                          // temperature, fever
	cTally                         // once, twice, a couple: a count
)

// cLeading are the words that may stand before an answer in its clause, cSmall
// those that carry no content of their own anywhere in a message.
const (
	cLeading = cPolite | cSoft | cLead | cHedge | cArticle | cAdj | cSign | cNow | cCorr | cYes | cNo | cGood | cBut |
		cJoin | cRating | cPast | cMaybe | cDayPart | cNeg | cIsVerb | cUp | cOr | cZero | cMe | cBetween | cIf | cKnow |
		cLast | cPeriod | cDay
	cSmall = cLeading | cWeigh | cAll | cRest | cDegree | cNumWord | cUnit | cGain
)

var classNames = map[string]classes{
	"numword": cNumWord, "polite": cPolite, "soft": cSoft,
	"article": cArticle, "adj": cAdj, "lead": cLead, "follow": cFollow, "hedge": cHedge,
	"neg": cNeg, "corr": cCorr, "past": cPast, "now": cNow, "last": cLast, "period": cPeriod,
	"timeprep": cTimePrep, "ampm": cAmPm, "daypart": cDayPart, "day": cDay, "month": cMonth,
	"ageunit": cAgeUnit, "agelead": cAgeLead, "count": cCount, "currency": cCurrency,
	"unit": cUnit, "otherunit": cOtherUnit, "label": cLabel, "subject": cSubject, "ask": cAsk,
	"if": cIf, "or": cOr, "between": cBetween, "zero": cZero, "sign": cSign, "up": cUp,
	"verb": cVerb, "yes": cYes, "no": cNo, "good": cGood, "but": cBut, "me": cMe, "gain": cGain,
	"goal": cGoal, "bag": cBag, "score": cScore, "all": cAll, "rest": cRest, "join": cJoin,
	"maybe": cMaybe, "with": cWith, "suffix": cSuffix, "point": cPoint, "half": cHalf,
	"is": cIsVerb, "rating": cRating, "tally": cTally, "far": cFar, "item": cItem, "temp": cTemp, "yes-alone": cYesAlone, "weigh": cWeigh, "otherwho": cOther, "degree": cDegree, "know": cKnow, "pointer": cPointer,
}

// Phrase sets. Those named "whole" must be the whole message apart from
// politeness; the others may stand anywhere.
const (
	pSame             = iota // whole: as last time
	pNotApply                // whole: doesn't apply
	pZero                    // whole: not at all
	pCorrect                 // anywhere: what follows replaces what stood before
	pYes                     // clause: yes
	pNo                      // clause: no
	pWell                    // clause: all is well
	pUnsure                  // clause: can't say
	pNotNo                   // begins with no but isn't one: "no idea"
	pCannotWeigh             // anywhere
	pCannotLift              // to the end of its clause
	pOptOutMaybeWhole        // whole: a person should look
	pOptOutWhole             // whole
	pOptOutAll               // whole
	pOptOut                  // anywhere
	pOptOutMaybe             // anywhere: a person should look
	pNotOptOut               // anywhere: looks like one and is not
	pOptIn                   // whole
	pHelp                    // whole
	pBack                    // whole
	pSkip                    // whole
	pLater                   // whole
	pAway                    // anywhere
	pAwayWhole               // whole
	pCallback                // anywhere
	pPrescription            // anywhere
	pQuestion                // anywhere: asks without a question mark
	pRestrict                // after an opt-out phrase: only at some times
	pNotOld                  // a time of today: before breakfast
	pCounts                  // words around a count: missed, forgot
	pOld                     // anywhere: the number beside it is an old one
	pOf                      // between two numbers: 3 out of 4
	setCount
)

var setNames = map[string]int{
	"same": pSame, "not-applicable": pNotApply, "zero": pZero, "correct": pCorrect,
	"yes": pYes, "no": pNo, "well": pWell, "unsure": pUnsure, "not-no": pNotNo,
	"cannot-weigh": pCannotWeigh, "cannot-lift": pCannotLift, "opt-out-maybe-whole": pOptOutMaybeWhole, "opt-out-whole": pOptOutWhole, "opt-out-all": pOptOutAll,
	"opt-out": pOptOut, "opt-out-maybe": pOptOutMaybe, "not-opt-out": pNotOptOut,
	"opt-in": pOptIn, "help": pHelp, "back": pBack, "skip": pSkip, "later": pLater,
	"away": pAway, "away-whole": pAwayWhole, "callback": pCallback, "prescription": pPrescription,
	"question": pQuestion, "restrict": pRestrict, "old": pOld, "counts": pCounts, "not-old": pNotOld, "of": pOf,
}
