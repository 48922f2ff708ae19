package channeltest

import (
	"errors"

	"gaitpost/bot"
)

// isRefusal says whether an error refuses whoever made the request.
func isRefusal(err error) bool {
	for _, e := range []error{bot.ErrNoSignature, bot.ErrBadSignature, bot.ErrAlgorithm} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

func isForeign(err error) bool {
	return errors.Is(err, bot.ErrOtherAccount) || errors.Is(err, bot.ErrOtherNumber)
}
