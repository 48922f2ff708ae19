package whatsapp

import "gaitpost/bot"

// outsideWindow is the code for free text to somebody who has not written for a
// day.
const outsideWindow = 131047

// classes are the provider's codes that mean something of their own. Any other
// refusal of a request is for good.
//
// Source: Meta's page of error codes, updated 2026-05-15, as far as it could be
// seen; the classes of 131049 and 132xxx from memory.
var classes = map[int]bot.Class{
	0: bot.Misconfigured, 190: bot.Misconfigured, // the token is not valid, or has expired
	3: bot.Misconfigured, 10: bot.Misconfigured, // permission
	4: bot.Throttled, 80007: bot.Throttled, 130429: bot.Throttled, 131056: bot.Throttled,
	131048:        bot.Misconfigured, // too much of it was marked as unwanted
	131026:        bot.Dead,          // not on WhatsApp, or a client too old
	outsideWindow: bot.Permanent,
	131050:        bot.OptedOut,
	131000:        bot.Retry, 131016: bot.Retry,
	131008: bot.Misconfigured, 131009: bot.Misconfigured, // a parameter of ours
	132000: bot.Misconfigured, 132001: bot.Misconfigured, 132015: bot.Misconfigured, // the template
}

func classOf(code int) bot.Class {
	if c, ok := classes[code]; ok {
		return c
	}
	if code >= 200 && code <= 299 {
		return bot.Misconfigured // permission
	}
	return bot.Permanent
}
