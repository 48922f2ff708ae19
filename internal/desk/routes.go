package desk

import (
	"net/http"

	"gaitpost/internal/account"
)

// route is one address of the desk: what it needs, and what answers it.
type route struct {
	method, path string
	needs        account.Action // "" for whoever is signed in
	handle       func(*Desk, *visit) error
}

// openRoutes are for whoever is not signed in yet.
var openRoutes = []route{
	{http.MethodGet, "/sign-in", "", (*Desk).signInPage},
	{http.MethodPost, "/sign-in", "", (*Desk).signIn},
	{http.MethodGet, "/dates/:clinic/:account/:file", "", (*Desk).dates},
}

// routes are for whoever is signed in. GET only ever reads; whatever changes
// something is a POST.
var routes = []route{
	{http.MethodGet, "/", "", (*Desk).home},
	{http.MethodGet, "/account", "", (*Desk).accountPage},
	{http.MethodPost, "/account/password", "", (*Desk).changePassword},
	{http.MethodPost, "/account/dates", account.SeeClinical, (*Desk).makeDates},
	{http.MethodPost, "/account/dates/end", "", (*Desk).endDates},
	{http.MethodPost, "/sign-out", "", (*Desk).signOut},
	{http.MethodPost, "/sign-out-everywhere", "", (*Desk).signOutEverywhere},
	{http.MethodGet, "/live", "", (*Desk).live},

	{http.MethodGet, "/today", account.Ring, (*Desk).today},
	{http.MethodPost, "/h/:id/alerts/:n/ack", account.WorkAlert, (*Desk).ack},
	{http.MethodPost, "/h/:id/alerts/:n/close", account.WorkAlert, (*Desk).closeAlert},
	{http.MethodPost, "/h/:id/alerts/:n/call", account.Ring, (*Desk).recordCall},

	{http.MethodGet, "/undelivered", account.Ring, (*Desk).undelivered},
	{http.MethodPost, "/undelivered/seen", account.Ring, (*Desk).seenTo},
	{http.MethodPost, "/h/:id/messages/:message/rung", account.Ring, (*Desk).rung},

	{http.MethodGet, "/dogs", account.SeeClinical, (*Desk).dogs},
	{http.MethodGet, "/h/:id", account.SeeClinical, (*Desk).household},
	{http.MethodGet, "/h/:id/messages/:message/media/:n", account.SeeClinical, (*Desk).media},
	{http.MethodPost, "/h/:id/write", account.WriteOwner, (*Desk).write},
	{http.MethodPost, "/h/:id/resume", account.WriteOwner, (*Desk).resume},
	{http.MethodGet, "/h/:id/erase", account.EraseOwner, (*Desk).erasePage},
	{http.MethodPost, "/h/:id/erase", account.EraseOwner, (*Desk).erase},
	{http.MethodPost, "/h/:id/consent", account.WriteOwner, (*Desk).consent},
	{http.MethodPost, "/h/:id/contact", account.WriteOwner, (*Desk).addContact},
	{http.MethodPost, "/h/:id/join", account.WriteOwner, (*Desk).sendLink},

	{http.MethodGet, "/h/:id/dogs/:dog", account.SeeClinical, (*Desk).dog},
	{http.MethodPost, "/h/:id/dogs/:dog/note", account.EnterFindings, (*Desk).note},
	{http.MethodPost, "/h/:id/dogs/:dog/findings", account.EnterFindings, (*Desk).findings},
	{http.MethodPost, "/h/:id/dogs/:dog/weigh", account.EnterFindings, (*Desk).weigh},
	{http.MethodPost, "/h/:id/dogs/:dog/home", account.EnterFindings, (*Desk).homeTask},
	{http.MethodPost, "/h/:id/dogs/:dog/home/ask", account.EnterFindings, (*Desk).askHome},
	{http.MethodPost, "/h/:id/dogs/:dog/days", account.ChangePlan, (*Desk).offerDays},
	{http.MethodPost, "/h/:id/dogs/:dog/details", account.EnterFindings, (*Desk).details},
	{http.MethodGet, "/h/:id/dogs/:dog/plan", account.SeeClinical, (*Desk).planPage},
	{http.MethodPost, "/h/:id/dogs/:dog/plan", account.ChangePlan, (*Desk).plan},
	{http.MethodPost, "/h/:id/dogs/:dog/plan/withdraw", account.ChangePlan, (*Desk).withdraw},
	{http.MethodPost, "/h/:id/dogs/:dog/plan/suggestion", account.ChangePlan, (*Desk).suggestion},
	{http.MethodPost, "/h/:id/dogs/:dog/quiet", account.QuietAlerts, (*Desk).quiet},
	{http.MethodPost, "/h/:id/dogs/:dog/quiet-sign", account.QuietAlerts, (*Desk).quietSign},
	{http.MethodPost, "/h/:id/pause", account.WriteOwner, (*Desk).pauseTexts},
	{http.MethodPost, "/h/:id/dogs/:dog/thresholds", account.QuietAlerts, (*Desk).thresholds},
	{http.MethodPost, "/h/:id/dogs/:dog/cadence", account.ChangePlan, (*Desk).cadence},
	{http.MethodPost, "/h/:id/dogs/:dog/hold", account.ChangePlan, (*Desk).hold},
	{http.MethodGet, "/h/:id/dogs/:dog/correct", account.EnterFindings, (*Desk).correctPage},
	{http.MethodPost, "/h/:id/dogs/:dog/correct", account.EnterFindings, (*Desk).correct},
	{http.MethodPost, "/h/:id/dogs/:dog/farewell", account.Farewell, (*Desk).farewell},
	{http.MethodPost, "/h/:id/dogs/:dog/farewell/undo", account.Farewell, (*Desk).undoFarewell},
	{http.MethodGet, "/h/:id/dogs/:dog/report", account.SeeClinical, (*Desk).reportPaper},
	{http.MethodGet, "/h/:id/dogs/:dog/card", account.SeeClinical, (*Desk).cardPaper},
	{http.MethodGet, "/h/:id/dogs/:dog/timeline", account.SeeClinical, (*Desk).timelinePaper},
	{http.MethodGet, "/h/:id/dogs/:dog/reaction", account.SeeClinical, (*Desk).reactionPaper},
	{http.MethodGet, "/h/:id/dogs/:dog/referral", account.SeeClinical, (*Desk).referralPaper},
	{http.MethodGet, "/h/:id/dogs/:dog/referral.txt", account.SeeClinical, (*Desk).referralText},
	{http.MethodGet, "/h/:id/dogs/:dog/record.csv", account.SeeClinical, (*Desk).recordCSV},
	{http.MethodGet, "/h/:id/dogs/:dog/checkin", account.EnterCheckIn, (*Desk).checkInPage},
	{http.MethodPost, "/h/:id/dogs/:dog/checkin", account.EnterCheckIn, (*Desk).checkIn},

	{http.MethodGet, "/rules", account.SeeRules, (*Desk).rules},
	{http.MethodPost, "/rules/try", account.ChangeRules, (*Desk).tryRule},
	{http.MethodPost, "/rules/change", account.ChangeRules, (*Desk).changeRule},
	{http.MethodPost, "/rules/back", account.ChangeRules, (*Desk).rollBack},
	{http.MethodGet, "/outcomes", account.SeeOutcomes, (*Desk).outcomes},
	{http.MethodGet, "/trail", account.SeeAudit, (*Desk).trail},
}
