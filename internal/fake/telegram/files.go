package telegram

import (
	"encoding/json"
	"net/http"
)

// File is what somebody sent, as the provider keeps it.
type File struct {
	Path string // relative, as getFile tells it
	Data []byte
	Size int64 // as getFile tells it; 0 is the length of Data
}

// Keep keeps a file under its id.
func (p *Provider) Keep(id string, f File) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if f.Size == 0 {
		f.Size = int64(len(f.Data))
	}
	p.files[id] = f
}

func (p *Provider) getFile(w http.ResponseWriter, data []byte) {
	var in struct {
		ID string `json:"file_id"`
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	f, ok := File{}, false
	if json.Unmarshal(data, &in) == nil {
		f, ok = p.files[in.ID]
	}
	if !ok {
		refuse(w, http.StatusBadRequest, "Bad Request: invalid file_id")
		return
	}
	accept(w, map[string]any{"file_id": in.ID, "file_unique_id": "u" + in.ID, "file_size": f.Size, "file_path": f.Path})
}

func (p *Provider) handOut(w http.ResponseWriter, path string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, f := range p.files {
		if f.Path == path {
			w.Header().Set("Content-Type", "application/octet-stream")
			_, _ = w.Write(f.Data)
			return
		}
	}
	refuse(w, http.StatusNotFound, "Not Found")
}
