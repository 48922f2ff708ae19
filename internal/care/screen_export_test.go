package care

// WithScreen lets a test say which languages the safety screen reads.
func (r *Rules) WithScreen(reads func(lang string) bool) { r.screenReads = reads }
