package bot

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
)

const (
	// MaxMedia is the largest picture or file that is fetched, bytes.
	MaxMedia = 16 << 20
	maxRef   = 200 // characters of a reference
)

// MediaFetcher is a channel whose provider keeps what people send, and hands it
// out to us.
type MediaFetcher interface {
	// FetchMedia fetches what a reference of Receive's (care.MessageIn.Refs) stands
	// for, from this provider only. The content type is the provider's word and may
	// be false. The body, to be closed, breaks off with ErrMediaTooLarge after
	// MaxMedia bytes. Errors wrap one of the ErrMedia… values where one says why;
	// they never hold an address.
	FetchMedia(ctx context.Context, ref string) (contentType string, body io.ReadCloser, err error)
}

// Why a picture or file is not fetched.
var (
	ErrMediaRef      = errors.New("the reference is none of this provider's")
	ErrMediaTooLarge = errors.New("the file is too large")
	ErrMediaGone     = errors.New("the provider does not have the file any more")
	ErrMediaMoved    = errors.New("the provider keeps the file at another address, which is not followed")
	ErrMediaNowhere  = errors.New("the channel that the message came by is gone, or keeps no files")
)

// MediaType is a content type without its parameters; anything that is none is
// just some file.
func MediaType(s string) string {
	s, _, _ = strings.Cut(s, ";")
	s = strings.ToLower(strings.TrimSpace(s))
	major, minor, ok := strings.Cut(s, "/")
	odd := func(r rune) bool {
		return !(r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || strings.ContainsRune("-.+_", r))
	}
	if !ok || major == "" || minor == "" || len(s) > 80 || strings.ContainsFunc(major+minor, odd) {
		return "application/octet-stream"
	}
	return s
}

// MediaRefs are references as a message keeps them, one for each file: what is
// too long or not printable ASCII is "", and nil stands for none at all.
func MediaRefs(refs []string) []string {
	out, any := make([]string, len(refs)), false
	odd := func(r rune) bool { return r <= ' ' || r > '~' }
	for i, ref := range refs {
		if len(ref) <= maxRef && !strings.ContainsFunc(ref, odd) {
			out[i] = ref
			any = any || ref != ""
		}
	}
	if !any {
		return nil
	}
	return out
}

// FetchMedia fetches a file by the channel that its message came by. Errors are
// those of MediaFetcher.
func (d *Directory) FetchMedia(ctx context.Context, clinic, channel, ref string) (string, io.ReadCloser, error) {
	o := d.outlet(clinic, channel)
	if o == nil {
		return "", nil, ErrMediaNowhere
	}
	f, ok := o.Channel.(MediaFetcher)
	if !ok {
		return "", nil, ErrMediaNowhere
	}
	return f.FetchMedia(ctx, ref)
}

// GetMedia makes one request for a file. It follows no redirect, whatever the
// client does: the request's credentials are for its own address alone.
func GetMedia(client *http.Client, req *http.Request) (string, io.ReadCloser, error) {
	c := *client
	c.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	resp, err := c.Do(req)
	if err != nil {
		return "", nil, fmt.Errorf("asking the provider for a file: %w", WithoutURL(err))
	}
	err = nil
	switch {
	case resp.StatusCode == http.StatusNotFound || resp.StatusCode == http.StatusGone:
		err = ErrMediaGone
	case resp.StatusCode/100 == 3:
		err = ErrMediaMoved
	case resp.StatusCode != http.StatusOK:
		err = fmt.Errorf("the provider answered %d when asked for a file", resp.StatusCode)
	case resp.ContentLength > MaxMedia:
		err = ErrMediaTooLarge
	}
	if err != nil {
		_ = resp.Body.Close()
		return "", nil, err
	}
	return MediaType(resp.Header.Get("Content-Type")), &bounded{resp.Body, MaxMedia}, nil
}

// bounded is a body that breaks off where it is too large.
type bounded struct {
	io.ReadCloser
	left int64
}

func (b *bounded) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	if b.left -= int64(n); b.left < 0 {
		return 0, ErrMediaTooLarge
	}
	return n, err
}
