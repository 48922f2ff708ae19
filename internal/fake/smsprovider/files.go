package smsprovider

import (
	"fmt"
	"net/http"
)

// File is what somebody sent, as the provider keeps it.
type File struct {
	Type string
	Data []byte
}

// Keep keeps a file under the path of its address.
func (p *Provider) Keep(path string, f File) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.files[path] = f
}

// mediaPath is where the i-th file of a message is.
func mediaPath(m *Message, i int) string {
	return fmt.Sprintf("/2010-04-01/Accounts/%s/Messages/%s/Media/ME%032x", m.Account, m.SID, i+1)
}

// handOut answers with a file.
func (p *Provider) handOut(w http.ResponseWriter, path string) {
	p.mu.Lock()
	f, ok := p.files[path]
	p.mu.Unlock()
	if !ok {
		refuse(w, http.StatusNotFound, 20404, "The requested resource was not found")
		return
	}
	w.Header().Set("Content-Type", f.Type)
	_, _ = w.Write(f.Data)
}
