package desk

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	imagepng "image/png"
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// Files that begin as their formats say: the PNG and JPEG signatures, ISO base
// media brands (ISO/IEC 14496-12, 3GPP TS 26.244), RFC 3533 for Ogg.
const (
	png  = "\x89PNG\x0D\x0A\x1A\x0Ainvented"
	mp4  = "\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00isommp42invented"
	gpp  = "\x00\x00\x00\x18ftyp3gp4\x00\x00\x00\x003gp43gp4invented"
	ogg  = "OggS\x00invented"
	mp3  = "ID3\x03\x00invented"
	webp = "RIFF\x10\x00\x00\x00WEBPVP8 invented"
)

// provider stands for the providers of all clinics.
type provider struct {
	kind, data string
	err        error
	asked      []string
}

func (p *provider) fetch(_ context.Context, clinicID, channel, ref string) (string, io.ReadCloser, error) {
	p.asked = append(p.asked, clinicID+" "+channel+" "+ref)
	return p.kind, io.NopCloser(strings.NewReader(p.data)), p.err
}

// sends lets the owner of a household send files; it returns their message's turn.
func (b *bench) sends(clinicID string, id contact.ID, media, refs []string) uint64 {
	b.t.Helper()
	l, err := b.store.Load(context.Background(), clinicID, id)
	require.NoError(b.t, err)
	key := fmt.Sprint("in", events.Add(1))
	res, err := b.store.Do(context.Background(), b.clinics[clinicID].Rules, id, care.Event{Key: key, At: b.now(),
		Message: &care.MessageIn{From: l.Household.Contacts[0].Address, Via: "text", ID: key, Media: media, Refs: refs}})
	require.NoError(b.t, err)
	return res.Household.Seq
}

func fileAt(id contact.ID, seq uint64, n any) string {
	return fmt.Sprintf("/desk/h/%s/messages/%d/media/%v", id, seq, n)
}

func TestWhatOwnersSendIsLinkedAndFetched(t *testing.T) {
	t.Parallel()
	p := &provider{kind: "image/png", data: png}
	b := newBench(t, func(o *Options) { o.Media = p.fetch })
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	seq := b.sends("hillside", id, []string{"image/png", "video/mp4", "text/vcard", "image/png"}, []string{"ref0", "ref1", "ref2", ""})
	b.sends("hillside", id, []string{"image/png"}, nil)
	vet := b.signedIn("hillside", account.Vet)
	page := vet.get("/desk/h/" + string(id))
	links := page.all(".talk .files a")
	require.Len(t, links, 3)
	for i, word := range []string{"Photo", "Video", "File"} {
		require.Equal(t, word, links[i].FirstChild.Data)
		to, _ := attr(links[i], "href")
		require.Equal(t, fileAt(id, seq, i), to)
	}
	page.has(".talk .hint", "kept at the messaging provider and not shown here")

	file := vet.get(fileAt(id, seq, 1))
	require.Equal(t, http.StatusOK, file.status)
	require.Equal(t, png, file.body)
	require.Equal(t, []string{"hillside text ref1"}, p.asked)
	trail, _, err := b.store.ReadAudit(context.Background(), "hillside", b.now(), 0, 1)
	require.NoError(t, err)
	require.Equal(t, "a video that was sent", trail[0].Detail)
	require.Equal(t, string(id), trail[0].Household)

	for _, where := range []string{fileAt(id, seq, 3), fileAt(id, seq, 4), fileAt(id, seq, -1), fileAt(id, seq, "x"), fileAt(id, seq+1, 0),
		fileAt(id, seq-1, 0), fileAt(id, 1<<40, 0), "/desk/h/" + string(id) + "/messages/..%2f1/media/0"} {
		require.Equal(t, http.StatusNotFound, vet.get(where).status, where)
	}
	other := b.signedIn("valley", account.Vet)
	require.Equal(t, http.StatusNotFound, other.get(fileAt(id, seq, 0)).status, "another clinic's")
	require.Equal(t, http.StatusForbidden, b.signedIn("hillside", account.Reception).get(fileAt(id, seq, 0)).status)
	require.Len(t, p.asked, 1, "and nothing was fetched for it")
}

func TestWithoutChannelsNothingIsLinked(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	seq := b.sends("hillside", id, []string{"image/png"}, []string{"ref0"})
	vet := b.signedIn("hillside", account.Vet)
	vet.get("/desk/h/"+string(id)).has(".talk .hint", "not shown here")
	require.Equal(t, http.StatusNotFound, vet.get(fileAt(id, seq, 0)).status)
}

func TestOnlyHarmlessKindsAreShown(t *testing.T) {
	t.Parallel()
	p := &provider{}
	b := newBench(t, func(o *Options) { o.Media = p.fetch })
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	seq := b.sends("hillside", id, []string{"image/png"}, []string{"ref0"})
	vet := b.signedIn("hillside", account.Vet)
	const saved = "application/octet-stream"
	for _, c := range []struct{ name, said, data, want string }{
		{"png", "image/png", png, "image/png"},
		{"a jpeg that is said to be a page", "text/html", "\xff\xd8\xffinvented", "image/jpeg"},
		{"gif", "image/gif", "GIF89ainvented", "image/gif"},
		{"webp", "image/webp", webp, "image/webp"},
		{"mp4", "video/mp4", mp4, "video/mp4"},
		{"3gpp", "video/3gpp", gpp, "video/3gpp"},
		{"ogg", "audio/ogg", ogg, "audio/ogg"},
		{"mp3", "audio/mpeg", mp3, "audio/mpeg"},
		{"a page said to be a picture", "image/png", "<html><script>alert(1)</script>", saved},
		{"a drawing with a script", "image/svg+xml", `<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"><script/></svg>`, saved},
		{"a drawing said to be a picture", "image/png", "<svg onload=x>", saved},
		{"ogg said to be something else", "text/html", ogg, saved},
		{"pdf", "application/pdf", "%PDF-1.7", saved},
		{"words", "text/plain", "hello", saved},
		{"nothing", "image/png", "", saved},
	} {
		p.kind, p.data = c.said, c.data
		file := vet.get(fileAt(id, seq, 0))
		require.Equal(t, http.StatusOK, file.status, c.name)
		require.Equal(t, c.want, file.header.Get("Content-Type"), c.name)
		require.Equal(t, c.want == saved, strings.HasPrefix(file.header.Get("Content-Disposition"), "attachment"), c.name)
		csp := file.header.Get("Content-Security-Policy")
		require.Contains(t, csp, "default-src 'none'")
		require.Contains(t, csp, "sandbox")
		require.NotContains(t, csp, "allow-scripts")
		require.NotContains(t, csp, "unsafe")
		require.Equal(t, "nosniff", file.header.Get("X-Content-Type-Options"))
		require.Equal(t, "no-store", file.header.Get("Cache-Control"))
	}
}

// Players ask for parts of a video.
func TestAPartOfAFile(t *testing.T) {
	t.Parallel()
	p := &provider{kind: "video/mp4", data: mp4}
	b := newBench(t, func(o *Options) { o.Media = p.fetch })
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	seq := b.sends("hillside", id, []string{"video/mp4"}, []string{"ref0"})
	vet := b.signedIn("hillside", account.Vet)
	req, err := http.NewRequest(http.MethodGet, b.server.URL+fileAt(id, seq, 0), nil)
	require.NoError(t, err)
	req.Header.Set("Range", "bytes=4-7")
	file := vet.do(req)
	require.Equal(t, http.StatusPartialContent, file.status)
	require.Equal(t, "ftyp", file.body)
	require.Equal(t, "video/mp4", file.header.Get("Content-Type"))
}

func TestFilesThatCannotBeShownAreExplained(t *testing.T) {
	t.Parallel()
	p := &provider{}
	b := newBench(t, func(o *Options) { o.Media = p.fetch })
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	seq := b.sends("hillside", id, []string{"image/png"}, []string{"ref0"})
	vet := b.signedIn("hillside", account.Vet)
	for _, c := range []struct {
		name     string
		err      error
		data     string
		status   int
		sentence string
	}{
		{"away", errors.New("internals"), "", http.StatusBadGateway, "did not hand it out"},
		{"gone", fmt.Errorf("asking: %w", ErrMediaGone), "", http.StatusGone, "does not keep it any more"},
		{"too large", ErrMediaTooLarge, "", http.StatusBadGateway, "larger than 16 MB"},
		{"too large, found late", nil, strings.Repeat("x", maxFile+1), http.StatusBadGateway, "larger than 16 MB"},
	} {
		p.err, p.data = c.err, c.data
		page := vet.get(fileAt(id, seq, 0))
		require.Equal(t, c.status, page.status, c.name)
		require.Contains(t, page.text("main"), c.sentence, c.name)
		require.NotContains(t, page.body, "internals")
	}
	require.Contains(t, b.logged.String(), "internals")
}

// A browser shows a picture although every right is taken off its page.
func TestABrowserShowsAPicture(t *testing.T) {
	t.Parallel()
	x := openBrowser(t, phone)
	var drawn bytes.Buffer
	require.NoError(t, imagepng.Encode(&drawn, image.NewGray(image.Rect(0, 0, 3, 2))))
	p := &provider{kind: "image/png", data: drawn.String()}
	b := newBench(t, func(o *Options) { o.Media = p.fetch })
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	seq := b.sends("hillside", id, []string{"image/png"}, []string{"ref0"})
	x.as(b.signedIn("hillside", account.Vet))
	x.open(b.server.URL + fileAt(id, seq, 0))
	x.until("document.images.length == 1 && document.images[0].naturalWidth == 3")
}
