package store

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// Queue names one kind of outgoing thing. Each has a stream per partition, so
// that a slow one holds up no other. A channel's name is the queue of its
// messages.
type Queue string

const (
	// Notices are for practitioners' lines: hand each to DoLine.
	Notices Queue = "line"
	// Commands come from practitioners' lines: hand each to Do.
	Commands Queue = "house"
)

// Messages is the queue of a channel's messages.
func Messages(c contact.Channel) Queue { return Queue(c) }

// groupName is the consumer group of every stream.
const groupName = "senders"

// Entry is one thing that waits in a queue. Just one of Message, Notice and
// Command is set.
type Entry struct {
	Queue     Queue
	Partition int
	StreamID  string
	// Deliveries is how often it was handed out, this time included. More than
	// once means that an earlier consumer may have done the work and died.
	Deliveries int

	Clinic    string
	Household contact.ID // it came from; "" where it came from a line
	// FromLine: it came from a practitioner's line, Practitioner's. An empty
	// practitioner is the last-resort contact.
	FromLine     bool
	Practitioner string
	At           time.Time // when it was decided

	Message *care.Message
	Notice  *care.Notice
	Command *care.Command

	raw string // as stored, to be moved as it is
}

// storedOut is the stored form of an entry.
type storedOut struct {
	Clinic       string         `cbor:"1,keyasint"`
	Household    contact.ID     `cbor:"2,keyasint,omitempty"`
	FromLine     bool           `cbor:"3,keyasint,omitempty"`
	Practitioner string         `cbor:"4,keyasint,omitempty"`
	At           int64          `cbor:"5,keyasint,omitempty"`
	Message      *storedMessage `cbor:"6,keyasint,omitempty"`
	Notice       *storedNotice  `cbor:"7,keyasint,omitempty"`
	Command      *storedCommand `cbor:"8,keyasint,omitempty"`
}

type storedMessage struct {
	ID       string          `cbor:"1,keyasint"`
	Channel  contact.Channel `cbor:"2,keyasint"`
	To       string          `cbor:"3,keyasint"`
	Via      string          `cbor:"4,keyasint,omitempty"`
	Text     string          `cbor:"5,keyasint"`
	Purpose  care.Purpose    `cbor:"6,keyasint,omitempty"`
	NotAfter int64           `cbor:"7,keyasint,omitempty"`
	Contact  int8            `cbor:"8,keyasint,omitempty"`
	Choices  []dialog.Choice `cbor:"10,keyasint,omitempty"`
	Heard    int64           `cbor:"11,keyasint,omitempty"`
	Mail     *care.Mail      `cbor:"12,keyasint,omitempty"`
}

type storedNotice struct {
	Key  string          `cbor:"1,keyasint"`
	To   string          `cbor:"2,keyasint,omitempty"`
	At   int64           `cbor:"3,keyasint"`
	What care.NoticeKind `cbor:"4,keyasint"`
	Item care.Item       `cbor:"5,keyasint"`

	Review *care.Review `cbor:"6,keyasint,omitempty"`
}

type storedCommand struct {
	Household contact.ID `cbor:"1,keyasint"`
	At        int64      `cbor:"2,keyasint"`
	Event     care.Event `cbor:"3,keyasint"`
}

// outgoing is one entry for the commit script.
type outgoing struct {
	queue Queue
	value []byte
}

// outgoing packs what a household's turn sends and whom it tells.
func (s *Store) outgoing(u unit, c Change) ([]outgoing, error) {
	if len(c.Result.Send)+len(c.Result.Notices) == 0 {
		return nil, nil
	}
	from := storedOut{Clinic: u.clinic, Household: u.id, At: unix(c.Event.At)}
	out := make([]outgoing, 0, len(c.Result.Send)+len(c.Result.Notices))
	for i := range c.Result.Notices {
		n := &c.Result.Notices[i]
		o := from
		o.Notice = &storedNotice{n.Key, n.To, unix(n.At), n.What, n.Item, n.Review}
		value, err := s.pack(outWhere(Notices), "", o)
		if err != nil {
			return nil, err
		}
		out = append(out, outgoing{Notices, value})
	}
	return s.messages(out, from, c.Result.Send)
}

func (s *Store) messages(out []outgoing, from storedOut, send []care.Message) ([]outgoing, error) {
	for i := range send {
		m := &send[i]
		o := from
		o.Message = &storedMessage{
			ID: m.ID, Channel: m.To.Channel, To: m.To.Value, Via: m.Via, Text: m.Text,
			Purpose: m.Purpose, NotAfter: unix(m.NotAfter), Contact: m.Contact,
			Choices: m.Choices, Heard: unix(m.Heard), Mail: m.Mail,
		}
		q := Messages(m.To.Channel)
		value, err := s.pack(outWhere(q), "", o)
		if err != nil {
			return nil, err
		}
		out = append(out, outgoing{q, value})
	}
	return out, nil
}

func (o *storedOut) entry() Entry {
	e := Entry{
		Clinic: o.Clinic, Household: o.Household, FromLine: o.FromLine,
		Practitioner: o.Practitioner, At: fromUnix(o.At),
	}
	if m := o.Message; m != nil {
		e.Message = &care.Message{
			ID: m.ID, To: contact.Address{Channel: m.Channel, Value: m.To}, Via: m.Via, Text: m.Text,
			Purpose: m.Purpose, NotAfter: fromUnix(m.NotAfter), Contact: m.Contact,
			Choices: m.Choices, Heard: fromUnix(m.Heard), Mail: m.Mail,
		}
	}
	if n := o.Notice; n != nil {
		e.Notice = &care.Notice{Key: n.Key, To: n.To, At: fromUnix(n.At), What: n.What, Item: n.Item, Review: n.Review}
	}
	if c := o.Command; c != nil {
		e.Command = &care.Command{Household: c.Household, Event: c.Event}
		e.Command.Event.At = fromUnix(c.At)
	}
	return e
}

// Spans says how the partitions are to be shared among readers: all in one on a
// single server, one each on a cluster, where a command can't span slots.
func (s *Store) Spans() [][]int {
	_, cluster := s.rdb.(*redis.ClusterClient)
	var spans [][]int
	for p := range contact.Partitions {
		if cluster || len(spans) == 0 {
			spans = append(spans, nil)
		}
		spans[len(spans)-1] = append(spans[len(spans)-1], p)
	}
	return spans
}

// Take says what to read from a queue.
type Take struct {
	Queue      Queue
	Partitions []int  // one of Spans
	Consumer   string // this reader's name, unique among all processes
	Max        int    // of each partition
	// Block is how long to wait for something; 0: not at all. A wait is not cut
	// short when its context ends, so keep it to a second or two.
	Block time.Duration
}

// Read hands out entries that nobody has had yet, each partition's in order.
// They stay this consumer's until they are acknowledged, set aside or put off;
// if it dies, or the answer is lost on the way, ClaimStale finds them. An entry
// that can't be read is set aside and not returned; one that a newer program wrote is
// left to a process of that version. Errors wrap ErrUnavailable.
func (s *Store) Read(ctx context.Context, t Take) ([]Entry, error) {
	streams, err := s.read(ctx, t)
	if redis.HasErrorPrefix(err, "NOGROUP") {
		if err := s.createGroups(ctx, t.Queue, t.Partitions); err != nil {
			return nil, err
		}
		streams, err = s.read(ctx, t)
	}
	if err != nil && !isNil(err) {
		return nil, wrap("reading a queue", err)
	}
	var entries []Entry
	for _, stream := range streams {
		p, ok := partitionOf(stream.Stream, t)
		if !ok {
			continue
		}
		got, err := s.entries(ctx, t.Queue, p, stream.Messages)
		if err != nil {
			return entries, err
		}
		entries = append(entries, got...)
	}
	return entries, nil
}

func (s *Store) read(ctx context.Context, t Take) ([]redis.XStream, error) {
	n := len(t.Partitions)
	names := make([]string, 2*n)
	for i, p := range t.Partitions {
		names[i], names[n+i] = streamKey(p, t.Queue), ">"
	}
	block := t.Block
	if block <= 0 {
		block = -1 // the client's word for not waiting
	}
	return s.rdb.XReadGroup(ctx, &redis.XReadGroupArgs{
		Group: groupName, Consumer: t.Consumer, Streams: names, Count: int64(t.Max), Block: block,
	}).Result()
}

func partitionOf(stream string, t Take) (int, bool) {
	for _, p := range t.Partitions {
		if streamKey(p, t.Queue) == stream {
			return p, true
		}
	}
	return 0, false
}

// createGroups makes the consumer groups that are missing. They begin at the
// first entry: what was written before anybody read is sent too.
func (s *Store) createGroups(ctx context.Context, q Queue, partitions []int) error {
	cmds := make([]*redis.StatusCmd, len(partitions))
	// The error of Pipelined is the first command's; each is looked at below.
	_, _ = s.rdb.Pipelined(ctx, func(pipe redis.Pipeliner) error {
		for i, p := range partitions {
			cmds[i] = pipe.XGroupCreateMkStream(ctx, streamKey(p, q), groupName, "0")
		}
		return nil
	})
	for _, cmd := range cmds {
		if err := cmd.Err(); err != nil && !redis.HasErrorPrefix(err, "BUSYGROUP") {
			return wrap("preparing a queue", err)
		}
	}
	return nil
}

// entries reads stored entries. One that can't be read goes to those set aside.
func (s *Store) entries(ctx context.Context, q Queue, p int, messages []redis.XMessage) ([]Entry, error) {
	entries := make([]Entry, 0, len(messages))
	for _, m := range messages {
		if m.Values == nil {
			continue // deleted while it was pending
		}
		raw, _ := m.Values["m"].(string)
		e := Entry{Queue: q, Partition: p, StreamID: m.ID, raw: raw}
		var o storedOut
		err := s.unpack(outWhere(q), raw, &o)
		if errors.Is(err, ErrNewer) {
			continue // stays pending, and a process that knows it takes it over
		}
		if err != nil {
			if err := s.SetAside(ctx, e, "it can't be read"); err != nil {
				return entries, err
			}
			continue
		}
		e = o.entry()
		e.Queue, e.Partition, e.StreamID, e.raw = q, p, m.ID, raw
		before, _ := m.Values["t"].(string)
		tries, _ := strconv.Atoi(before) // absent on a first delivery
		e.Deliveries = tries + 1
		entries = append(entries, e)
	}
	return entries, nil
}

// Ack takes finished entries out of their queues for good. It is safe to
// repeat. Errors wrap ErrUnavailable.
func (s *Store) Ack(ctx context.Context, entries ...Entry) error {
	ids := map[string][]any{}
	for _, e := range entries {
		k := streamKey(e.Partition, e.Queue)
		if ids[k] == nil {
			ids[k] = []any{groupName}
		}
		ids[k] = append(ids[k], e.StreamID)
	}
	calls := make([]call, 0, len(ids))
	for k, args := range ids {
		calls = append(calls, call{ackScript, []string{k}, args})
	}
	if len(calls) == 1 {
		// Many workers finish at the same moment.
		return wrap("acknowledging a sent entry", s.runGathered(ctx, calls[0]).Err())
	}
	for _, cmd := range s.runAll(ctx, calls) {
		if err := cmd.Err(); err != nil {
			return wrap("acknowledging sent entries", err)
		}
	}
	return nil
}

// name says which entry it is, for errors and logs: nothing of its content.
func (e Entry) name() string {
	return fmt.Sprintf("entry %s of queue %s in partition %d", e.StreamID, e.Queue, e.Partition)
}
