package sms

import "gaitpost/bot"

// classes are the provider's codes that mean something of their own. The
// provider advises against logic on exact codes, since it splits them now and
// then: any other refusal is for good.
//
// Source: Twilio's error dictionary; 21217 and 21603 from memory.
var classes = map[string]bot.Class{
	"20003": bot.Misconfigured, // bad credentials
	"20404": bot.Misconfigured, // no such account
	"21212": bot.Misconfigured, // our number is not one
	"21603": bot.Misconfigured, // our number is missing
	"21606": bot.Misconfigured, // our number can't send
	"20429": bot.Throttled,
	"21611": bot.Throttled, // our number's queue is full
	"30001": bot.Throttled, // the service's queue is full
	"63018": bot.Throttled,
	"21610": bot.OptedOut,
	"21211": bot.Dead, // not a number
	"21217": bot.Dead, // not a number
	"21614": bot.Dead, // not a mobile
	"21635": bot.Dead, // a landline
	"30005": bot.Dead, // unknown handset
	"30006": bot.Dead, // a landline, or a carrier that can't be reached
}

// ClassOf says what a code of the provider's means, of texts and of calls alike.
func ClassOf(code string) bot.Class { return classOf(code) }

func classOf(code string) bot.Class {
	if c, ok := classes[code]; ok {
		return c
	}
	return bot.Permanent
}

// shortCode keeps a code that came with a report: digits, at most six.
func shortCode(code string) string {
	if len(code) > 6 {
		return ""
	}
	for _, r := range code {
		if r < '0' || r > '9' {
			return ""
		}
	}
	return code
}
