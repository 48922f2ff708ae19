package whatsapp

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strings"

	"gaitpost/bot"
)

// DefaultMediaHosts are the domains the provider serves files from (from
// memory: its addresses of files begin with lookaside.fbsbx.com).
var DefaultMediaHosts = []string{"fbsbx.com"}

// mediaID is a file's id at the provider.
var mediaID = regexp.MustCompile(`^[0-9]{5,25}$`)

// maxAbout is how much of the provider's answer about a file is read, bytes.
const maxAbout = 16 << 10

// FetchMedia implements bot.MediaFetcher: the provider first says where a file
// is, for some minutes, and hands it out there. Our token goes to the provider's
// own hosts only, and nothing is fetched from any other.
func (c *Channel) FetchMedia(ctx context.Context, ref string) (string, io.ReadCloser, error) {
	if !mediaID.MatchString(ref) {
		return "", nil, bot.ErrMediaRef
	}
	_, about, err := c.get(ctx, strings.TrimSuffix(c.cfg.API, "/")+"/"+ref)
	if err != nil {
		return "", nil, err
	}
	defer about.Close()
	var said struct {
		URL string `json:"url"`
	}
	if err := json.NewDecoder(io.LimitReader(about, maxAbout)).Decode(&said); err != nil {
		return "", nil, errors.New("the provider does not say where the file is")
	}
	if !c.ownHost(said.URL) {
		return "", nil, bot.ErrMediaMoved
	}
	return c.get(ctx, said.URL)
}

func (c *Channel) get(ctx context.Context, address string) (string, io.ReadCloser, error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return "", nil, errors.New("the request could not be made")
	}
	req.Header.Set("Authorization", "Bearer "+c.cfg.Token)
	return bot.GetMedia(c.cfg.Client, req)
}

// ownHost says whether an address is one of the provider's: on the host of its
// interface, or by HTTPS on one of the domains for files.
func (c *Channel) ownHost(address string) bool {
	u, err := url.Parse(address)
	if err != nil || u.User != nil || u.Host == "" {
		return false
	}
	if u.Scheme == c.api.Scheme && u.Host == c.api.Host {
		return true
	}
	host := strings.ToLower(u.Host) // with a port it is none of them
	for _, domain := range c.cfg.MediaHosts {
		if u.Scheme == "https" && domain != "" && (host == domain || strings.HasSuffix(host, "."+domain)) {
			return true
		}
	}
	return false
}
