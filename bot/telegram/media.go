package telegram

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"regexp"
	"strings"

	"gaitpost/bot"
)

var (
	fileID   = regexp.MustCompile(`^[A-Za-z0-9_-]{1,200}$`)
	filePath = regexp.MustCompile(`^[A-Za-z0-9_-][A-Za-z0-9._/-]{0,199}$`)
)

// fileRef is a file's id where it is one, "" otherwise.
func fileRef(id string) string {
	if !fileID.MatchString(id) {
		return ""
	}
	return id
}

// largest is the id of the largest size of a picture.
func largest(sizes []photo) string {
	best := sizes[0]
	for _, p := range sizes[1:] {
		if p.Width*p.Height > best.Width*best.Height {
			best = p
		}
	}
	return best.ID
}

// FetchMedia implements bot.MediaFetcher: the provider makes a file ready, says
// its path, and hands it out there (files of up to 20 MB). The token is part of
// the address, which is never part of an error.
func (c *Channel) FetchMedia(ctx context.Context, ref string) (string, io.ReadCloser, error) {
	if !fileID.MatchString(ref) {
		return "", nil, bot.ErrMediaRef
	}
	result, failed := c.call(ctx, "getFile", map[string]string{"file_id": ref})
	if failed != nil {
		return "", nil, fmt.Errorf("asking the provider for a file: %w", failed)
	}
	var said struct {
		Path string `json:"file_path"`
		Size int64  `json:"file_size"`
	}
	if json.Unmarshal(result, &said) != nil || !filePath.MatchString(said.Path) || strings.Contains(said.Path, "..") {
		return "", nil, errors.New("the provider does not say where the file is")
	}
	if said.Size > bot.MaxMedia {
		return "", nil, bot.ErrMediaTooLarge
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, c.cfg.API+"/file/bot"+c.cfg.Token+"/"+said.Path, nil)
	if err != nil {
		return "", nil, errors.New("the request could not be made")
	}
	return bot.GetMedia(c.cfg.Client, req)
}
