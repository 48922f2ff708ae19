package main

import (
	"bytes"
	"io"
	"net"
	"sync"
	"time"
)

// demoConn is one end of a connection inside this process. Unlike net.Pipe it
// has room for what is written, so that a client may write on while the other
// end answers. Deadlines are not kept: nothing here can be slow for long.
type demoConn struct {
	in, out *demoBuffer
}

func newDemoConns() (ours, theirs net.Conn) {
	a, b := newDemoBuffer(), newDemoBuffer()
	return &demoConn{a, b}, &demoConn{b, a}
}

func (c *demoConn) Read(p []byte) (int, error)  { return c.in.read(p) }
func (c *demoConn) Write(p []byte) (int, error) { return c.out.write(p) }

// Close ends both directions.
func (c *demoConn) Close() error {
	c.in.close()
	c.out.close()
	return nil
}

func (*demoConn) LocalAddr() net.Addr              { return insideAddr{} }
func (*demoConn) RemoteAddr() net.Addr             { return insideAddr{} }
func (*demoConn) SetDeadline(time.Time) error      { return nil }
func (*demoConn) SetReadDeadline(time.Time) error  { return nil }
func (*demoConn) SetWriteDeadline(time.Time) error { return nil }

type insideAddr struct{}

func (insideAddr) Network() string { return "inside" }
func (insideAddr) String() string  { return "inside" }

// demoBuffer is one direction.
type demoBuffer struct {
	mu     sync.Mutex
	more   *sync.Cond
	bytes  bytes.Buffer
	closed bool
}

func newDemoBuffer() *demoBuffer {
	b := &demoBuffer{}
	b.more = sync.NewCond(&b.mu)
	return b
}

func (b *demoBuffer) read(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for b.bytes.Len() == 0 && !b.closed {
		b.more.Wait()
	}
	if b.bytes.Len() == 0 {
		return 0, io.EOF
	}
	return b.bytes.Read(p)
}

func (b *demoBuffer) write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed {
		return 0, net.ErrClosed
	}
	b.more.Signal()
	return b.bytes.Write(p)
}

func (b *demoBuffer) close() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.closed = true
	b.more.Broadcast()
}
