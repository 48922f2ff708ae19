package bot

import (
	"errors"
	"io"
	"net/http"
	"sync"
)

// maxBody is the largest request that is read. A message of 1,600 characters
// takes about 20 kB at most, percent-encoded.
const maxBody = 64 << 10

var (
	errOversize = errors.New("the request is too large")
	errCutOff   = errors.New("the request ended early")
)

// body is a request's body in a buffer that is used again.
type body struct {
	bytes []byte
	from  *[]byte
}

var buffers = sync.Pool{New: func() any { b := make([]byte, 0, 4<<10); return &b }}

// readBody reads a whole body. Errors: errOversize, errCutOff.
func readBody(r *http.Request) (body, error) {
	if r.ContentLength > maxBody {
		return body{}, errOversize
	}
	from := buffers.Get().(*[]byte)
	b := (*from)[:0]
	for {
		if len(b) == cap(b) {
			b = append(b, 0)[:len(b)]
		}
		n, err := r.Body.Read(b[len(b):cap(b)])
		b = b[:len(b)+n]
		switch {
		case len(b) > maxBody:
			buffers.Put(from)
			return body{}, errOversize
		case err == io.EOF:
			*from = b[:0]
			return body{bytes: b, from: from}, nil
		case err != nil:
			buffers.Put(from)
			return body{}, errCutOff
		}
	}
}

// release gives the buffer back; the bytes are not to be used after it.
func (b body) release() { buffers.Put(b.from) }
