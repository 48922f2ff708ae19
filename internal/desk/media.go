package desk

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

const (
	maxFile   = 16 << 20         // bytes of a picture or file that is shown
	fetchTime = 15 * time.Second // for a provider to hand one out
	fetchers  = 4                // how many are fetched at a time: each is held whole
)

// What Options.Media may say of a file.
var (
	ErrMediaGone     = errors.New("the provider does not have the file any more")
	ErrMediaTooLarge = errors.New("the file is too large")
)

// fileLink is a link to what came with a message.
type fileLink struct{ Word, URL string }

// files are links to what came with the message that a fact keeps the words of,
// as far as it can be fetched. They name the turn: ids of messages are the
// providers' and may hold anything.
func (t *talkReader) files(e *store.LogEntry, f *care.Fact) []fileLink {
	m := e.Event.Message
	if m == nil || t.desk.Media == nil || m.ID != f.ID {
		return nil
	}
	var links []fileLink
	for i, ref := range m.Refs {
		if ref != "" && i < len(m.Media) {
			links = append(links, fileLink{kindWord(m.Media[i]),
				fmt.Sprintf("%s/h/%s/messages/%d/media/%d", Prefix, t.h.ID, e.Seq, i)})
		}
	}
	return links
}

// kindWord is what a person calls a file of a content type.
func kindWord(kind string) string {
	switch major, _, _ := strings.Cut(kind, "/"); major {
	case "image":
		return "photo"
	case "video":
		return "video"
	default:
		return "file"
	}
}

// media hands out what an owner sent, fetched from its provider just now: it is
// not kept here.
func (d *Desk) media(v *visit) error {
	m, n, err := d.sentFile(v)
	if err != nil {
		return err
	}
	word := kindWord(m.Media[n])
	e := account.Entry{Deed: account.SawDog, Household: v.Param("id"), Detail: "a " + word + " that was sent"}
	if err := d.trailed(v, e); err != nil {
		return err
	}
	said, data, err := d.fetch(v, m.Via, m.Refs[n])
	if err != nil {
		return d.notFetched(v, word, err)
	}
	kind, inline := servedAs(said, data)
	h := v.Response().Header()
	h.Set("Content-Type", kind)
	h.Set("Content-Security-Policy", mediaPolicy(kind))
	if !inline {
		h.Set("Content-Disposition", fmt.Sprintf(`attachment; filename="file-%s-%d"`, v.Param("message"), n))
	}
	http.ServeContent(v.Response(), v.Request(), "", time.Time{}, bytes.NewReader(data)) // with parts of it, as players of videos ask for
	return nil
}

// sentFile is the message of the household that an address names, and which of
// its files.
func (d *Desk) sentFile(v *visit) (*care.MessageIn, int, error) {
	id, err := about(v)
	if err != nil {
		return nil, 0, err
	}
	seq, wrong := strconv.ParseUint(v.Param("message"), 10, 63)
	n, wrongToo := strconv.ParseUint(v.Param("n"), 10, 8)
	if wrong != nil || wrongToo != nil || d.Media == nil {
		return nil, 0, errNotFound
	}
	h, err := d.load(v, id)
	if err != nil {
		return nil, 0, err
	}
	entries, err := d.record(v, h.ID)
	if err != nil {
		return nil, 0, err
	}
	for i := range entries {
		if m := entries[i].Event.Message; m != nil && entries[i].Seq == seq && int(n) < min(len(m.Refs), len(m.Media)) && m.Refs[n] != "" {
			return m, int(n), nil
		}
	}
	return nil, 0, errNotFound
}

// fetch gets a file whole, so that what goes wrong on the way can be said.
func (d *Desk) fetch(v *visit, channel, ref string) (string, []byte, error) {
	ctx, cancel := context.WithTimeout(v.ctx(), fetchTime)
	defer cancel()
	select {
	case d.fetching <- struct{}{}:
		defer func() { <-d.fetching }()
	case <-ctx.Done():
		return "", nil, ctx.Err()
	}
	kind, body, err := d.Media(ctx, v.clinic.Rules.Clinic, channel, ref)
	if err != nil {
		return "", nil, err
	}
	defer body.Close()
	data, err := io.ReadAll(io.LimitReader(body, maxFile+1))
	if err == nil && len(data) > maxFile {
		err = ErrMediaTooLarge
	}
	return kind, data, err
}

// notFetched says why a file can't be shown.
func (d *Desk) notFetched(v *visit, word string, err error) error {
	title := "The " + word + " can’t be shown"
	switch {
	case errors.Is(err, ErrMediaGone):
		return d.problem(v, http.StatusGone, title, "The messaging provider does not keep it any more. Ask the owner to send it again.")
	case errors.Is(err, ErrMediaTooLarge):
		return d.problem(v, http.StatusBadGateway, title, "It is larger than 16 MB. Ask the owner for a shorter or smaller one.")
	}
	d.Log.Warn("a file could not be fetched from its provider", "clinic", v.clinic.Rules.Clinic, "error", err)
	return d.problem(v, http.StatusBadGateway, title+" just now",
		"The messaging provider, which keeps it, did not hand it out. Try again later; if it stays like this, ask the owner to send it again.")
}

// shown are the kinds of file that a browser shows here. None can hold a script.
var shown = map[string]bool{"image/jpeg": true, "image/png": true, "image/webp": true, "image/gif": true,
	"video/mp4": true, "video/3gpp": true, "audio/ogg": true, "audio/mpeg": true}

// servedAs is the content type that a file is served with: what its first bytes
// show, where that is one of the kinds shown here; anything else is a file to be
// saved. What its provider says decides nothing but whether an Ogg file that has
// to be one of the two is sound.
func servedAs(said string, data []byte) (kind string, inline bool) {
	kind, _, _ = strings.Cut(http.DetectContentType(data), ";")
	switch {
	case kind == "application/ogg" && said == "audio/ogg":
		kind = said
	case len(data) >= 12 && string(data[4:11]) == "ftyp3gp": // brands of 3GPP TS 26.244
		kind = "video/3gpp"
	}
	if !shown[kind] {
		return "application/octet-stream", false
	}
	return kind, true
}

// mediaPolicy takes every right off a file that is opened. A player asks for its
// file again in its own name, which it has to keep for that; scripts run in
// neither.
func mediaPolicy(kind string) string {
	const policy = "default-src 'none'; img-src 'self'; media-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'; sandbox"
	if strings.HasPrefix(kind, "video/") || strings.HasPrefix(kind, "audio/") {
		return policy + " allow-same-origin"
	}
	return policy
}
