package sms

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strings"

	"gaitpost/bot"
)

// mediaForm is where a file of a message is, behind the account's own part of
// the path: the Media resource below its Message.
var mediaForm = regexp.MustCompile(`^/Messages/[A-Za-z0-9]{1,64}/Media/[A-Za-z0-9]{1,64}$`)

// mediaRef is the reference to a file that the provider names by its address:
// the path on the host of the interface, "" for any other address.
func (c *Channel) mediaRef(address string) string {
	u, err := url.Parse(address)
	own, _ := url.Parse(c.api) // was checked
	if err != nil || u.Scheme != own.Scheme || u.Host != own.Host || u.User != nil || u.RawQuery != "" || u.Fragment != "" {
		return ""
	}
	path, ok := strings.CutPrefix(u.EscapedPath(), own.EscapedPath())
	if !ok || !c.isMediaRef(path) {
		return ""
	}
	return path
}

// isMediaRef says whether a path is that of a file of this account.
func (c *Channel) isMediaRef(path string) bool {
	rest, ok := strings.CutPrefix(path, "/2010-04-01/Accounts/"+c.account)
	return ok && mediaForm.MatchString(rest)
}

// FetchMedia implements bot.MediaFetcher. A file that the interface hands on to
// another host is not fetched there.
func (c *Channel) FetchMedia(ctx context.Context, ref string) (string, io.ReadCloser, error) {
	if !c.isMediaRef(ref) {
		return "", nil, bot.ErrMediaRef
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, c.api+ref, nil)
	if err != nil {
		return "", nil, errors.New("the request could not be made")
	}
	req.SetBasicAuth(c.account, c.token)
	return bot.GetMedia(c.client, req)
}
