package desk

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// reached is a desk whose clinic has Telegram beside texts, with one household
// whose owner agreed.
func reached(t *testing.T) (*bench, contact.ID, *client) {
	b := newBench(t, nil)
	r := b.clinics["hillside"].Rules
	r.Channels = append(slices.Clone(r.Channels), care.Channel{Name: "telegram", Kind: contact.Telegram, Address: "hillside_bot"})
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	return b, id, b.signedIn("hillside", account.Nurse)
}

func TestAnotherNumberThatThePracticeKnows(t *testing.T) {
	t.Parallel()
	b, id, nurse := reached(t)
	page := at("/h/:id/dogs/:dog", id)
	nurse.get(page).has("table.reach", "Ruth", "Text message", "…001", "has agreed to texts", "at the practice", "here now")
	for said, bad := range map[string][]string{
		"how it is known":       {"of", "0", "via", "text", "address", "07700 900177"},
		"choose the channel":    {"of", "0", "via", "pigeon", "address", "07700 900177", "how", "vouched"},
		"give the number":       {"of", "0", "via", "text", "address", " ", "how", "vouched"},
		"address can’t be used": {"of", "0", "via", "text", "address", "12", "how", "vouched"},
		"no such contact":       {"of", "5", "via", "text", "address", "07700 900177", "how", "vouched"},
		"in this household":     {"of", "0", "via", "text", "address", "07700 900001", "how", "vouched"},
		"first name":            {"of", "", "via", "text", "address", "07700 900177"},
	} {
		answer := nurse.post(at("/h/:id/contact", id), bad...)
		require.Equal(t, 422, answer.status, bad)
		require.Contains(t, strings.ReplaceAll(answer.text("main"), "'", "’"), said)
	}
	require.Len(t, b.household("hillside", id).Contacts, 1)

	nurse.post(at("/h/:id/contact", id), "of", "0", "via", "text", "address", "07700 900177", "how", "vouched").done("address-added")
	c := b.household("hillside", id).Contacts[1]
	require.Equal(t, "+447700900177", c.Address.Value)
	require.Equal(t, care.Agreed, c.Consent.State)
	table := nurse.get(page)
	table.has("table.reach", "…177", "vouched for by the practice")
	require.Len(t, table.all("table.reach tbody tr"), 2)
	require.NotContains(t, table.text("table.reach"), "900177", "masked")
	table.has(".write", "Text message …177")
	b.trail(t, "changed how an owner is reached", "another address: Text message …177")
	b.replays(t, "hillside", id)
}

// trail wants a deed with its detail in the clinic's trail, and no address whole.
func (b *bench) trail(t *testing.T, deed, detail string) {
	t.Helper()
	page := b.signedIn("hillside", account.Manager).get("/desk/trail").ok()
	page.has("main", deed, detail)
	require.NotContains(t, page.text("main"), "900177")
}

func TestANumberIsReplacedAfterAYesFromTheOld(t *testing.T) {
	t.Parallel()
	for said, want := range map[string]care.ConsentState{"yes": care.Retired, "no": care.Agreed} {
		t.Run(said, func(t *testing.T) {
			t.Parallel()
			b, id, nurse := reached(t)
			b.answersAll(id)
			page := at("/h/:id/dogs/:dog", id)
			nurse.post(at("/h/:id/contact", id), "of", "0", "via", "text", "address", "07700 900177", "how", "ask", "replace", "yes").done("address-asked")
			require.Len(t, b.household("hillside", id).Contacts, 1)
			nurse.get(page).has("table.reach", "asked whether …177 is theirs")
			b.says("hillside", id, said)
			h := b.household("hillside", id)
			require.Equal(t, want, h.Contacts[0].Consent.State)
			answer := nurse.get(page)
			if want == care.Agreed {
				answer.has("[data-part=alerts]", "says that the new address is not theirs")
				return
			}
			answer.has("table.reach", "no longer used", "confirmed from the old address")
			require.Len(t, answer.all("#people .person"), 1, "only who is reached is listed to be written to")
			require.Len(t, answer.all("form.write"), 1)
		})
	}
}

// answersAll answers the first check-in, so that no question stands open.
func (b *bench) answersAll(id contact.ID) {
	b.t.Helper()
	for range 30 {
		if b.household("hillside", id).Contacts[0].Talk.Open == nil {
			return
		}
		b.says("hillside", id, "0")
	}
	b.t.Fatal("the check-in does not end")
}

func TestASecondOwnerIsInvited(t *testing.T) {
	t.Parallel()
	b, id, nurse := reached(t)
	other := b.enrol("hillside", 177, "Joan", care.EnrolledDog{Name: "Fern"})
	taken := nurse.post(at("/h/:id/contact", id), "of", "", "via", "text", "address", "07700 900177", "name", "Sam")
	require.Equal(t, 422, taken.status, "another household's")
	taken.has("main", "belongs to another household")
	require.NotContains(t, taken.text("main"), "Joan")
	require.Len(t, b.household("hillside", other).Contacts, 1)

	nurse.post(at("/h/:id/contact", id), "of", "", "via", "text", "address", "07700 900178", "name", "<b>Sam</b>").done("invited")
	c := b.household("hillside", id).Contacts[1]
	require.Equal(t, care.Invited, c.Consent.State)
	page := nurse.get(at("/h/:id/dogs/:dog", id))
	page.has("table.reach", "<b>Sam</b>", "invited, no answer yet")
	page.hasNot("table.reach b")
	nurse.post(at("/h/:id/consent", id), "contact", "1", "state", "agreed", "how", "by telephone, 3 March").done("consent")
	nurse.get(at("/h/:id", id)).has("table.reach", "by telephone, 3 March")
	nurse.post(at("/h/:id/consent", id), "contact", "1", "state", "opted out", "how", "by telephone, 4 March").done("consent")
	nurse.get(at("/h/:id", id)).has("table.reach", "has opted out", "4 March")
}

func TestALinkToJoinIsSentAndNeverShown(t *testing.T) {
	t.Parallel()
	b, id, nurse := reached(t)
	page := at("/h/:id/dogs/:dog", id)
	nurse.get(page).has("#link-0", "Let Ruth join on Telegram")
	require.Equal(t, 422, nurse.post(at("/h/:id/join", id), "contact", "0", "via", "text").status)
	require.Equal(t, 422, nurse.post(at("/h/:id/join", id), "contact", "7", "via", "telegram").status)
	nurse.post(at("/h/:id/join", id), "contact", "0", "via", "telegram").done("link-sent")
	join := b.household("hillside", id).Contacts[0].Join
	require.NotNil(t, join)
	shown := nurse.get(page)
	shown.has("table.reach", "sent a link to join, good until")
	require.NotContains(t, shown.body, join.Code, "whoever reads the page can't join")
	b.trail(t, "changed how an owner is reached", "sent a link to join on telegram")

	chat := contact.Address{Channel: contact.Telegram, Value: "900700"}
	res, err := b.store.Do(context.Background(), b.clinics["hillside"].Rules, id, care.Event{Key: fmt.Sprint("join", events.Add(1)), At: b.now(),
		Message: &care.MessageIn{From: chat, Via: "telegram", ID: "1", Text: "/start " + join.Code, Joiner: b.store.ID("hillside", chat)}})
	require.NoError(t, err)
	require.Equal(t, care.Joined, res.Reason)
	joined := nurse.get(page)
	joined.has("table.reach", "Telegram", "joined by the link we sent")
	require.NotContains(t, joined.body, "tel:900700", "a chat can't be rung")
	require.NotContains(t, joined.body, `href="tel:"`)
	joined.has(".person", "Text message …001")
}

// Whoever may not write to owners sees how they are reached and changes nothing.
func TestWhoMayNotWriteChangesNoAddress(t *testing.T) {
	t.Parallel()
	b, id, nurse := reached(t)
	page := at("/h/:id/dogs/:dog", id)
	nurse.get(page).has("#address-0")
	for _, role := range account.Roles {
		if role.Can(account.WriteOwner) || !role.Can(account.SeeClinical) {
			continue
		}
		reader := b.signedIn("hillside", role)
		shown := reader.get(page).ok()
		shown.has("table.reach", "here now")
		shown.hasNot("#address-0")
		shown.hasNot("#link-0")
	}
}
