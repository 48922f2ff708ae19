package answer

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// signsList is an invented list of the kind that a bare yes opens.
func signsList() []Option {
	return []Option{
		{"sick", "Been sick", []string{"vomited", "vomiting", "throwing up"}, true},
		{"runs", "Runny poo", []string{"diarrhoea", "diarrhea", "the runs"}, true},
		{"food", "Off food", []string{"not eating", "won't eat"}, true},
		{"else", "Something else", []string{"other"}, true},
		{"none", "None of these", []string{"none"}, false},
	}
}

func TestChoice(t *testing.T) {
	plain := []Option{{"short", "Short walks", nil, false}, {"long", "Long walks", nil, false}, {"none", "No walks", nil, false}}
	for _, tt := range []struct {
		options []Option
		text    string
		want    string
		reason  Reason
	}{
		{signsList(), "1", "sick", Digit},
		{signsList(), "2️⃣", "runs", Digit},
		{signsList(), "3)", "food", Digit},
		{signsList(), "number 3 please", "food", Digit},
		{signsList(), "two", "runs", Digit},
		{signsList(), "b", "runs", Letter},
		{signsList(), "C.", "food", Letter},
		{signsList(), "1 and 3", "sick food", Digit},
		{signsList(), "1,2", "sick runs", Digit},
		{signsList(), "3 & 1", "sick food", Digit},
		{signsList(), "a and c", "sick food", Letter},
		{signsList(), "been sick", "sick", Word},
		{signsList(), "he's been sick", "sick", Word},
		{signsList(), "vomiting", "sick", Word},
		{signsList(), "diarrhoea and off his food", "runs food", Word},
		{signsList(), "something else", "else", Word},
		{signsList(), "none of these", "none", Word},
		{signsList(), "none", "none", Word},
		{signsList(), "runny", "runs", Word},
		{signsList(), "1 and 5", "", Ambiguous},
		{signsList(), "6", "", OutOfRange},
		{signsList(), "0", "", OutOfRange},
		{signsList(), "z", "", OutOfRange},
		{signsList(), "", "", Empty},
		{signsList(), "hello", "", NotAnAnswer},
		{signsList(), "he ate 2 biscuits", "", NotAnAnswer},
		{signsList(), "2?", "", Asked},
		{signsList(), "not sick", "", NotAnAnswer},
		{plain, "1", "short", Digit},
		{plain, "1 and 2", "", Ambiguous},
		{plain, "long", "long", Word},
		{plain, "short walks", "short", Word},
		{plain, "walks", "", NotAnAnswer},
		{nil, "1", "", NotAnAnswer},
	} {
		got := English().Choice(tt.text, tt.options)
		require.Equal(t, tt.want, strings.Join(got.Keys, " "), "%q (%s)", tt.text, got.Reason)
		require.Equal(t, tt.want != "", got.OK, tt.text)
		require.Equal(t, tt.reason, got.Reason, tt.text)
	}
}
