package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// listenTo opens a second store on the ground whose calls a wire hears, so that
// nothing listens in on what is measured. The caller closes the client.
func (g *ground) listenTo(ctx context.Context) (*store.Store, *wire, redis.UniversalClient, error) {
	client, err := store.NewClient(g.redis.URL())
	if err != nil {
		return nil, nil, nil, err
	}
	w := &wire{}
	client.AddHook(w)
	own, err := store.Open(ctx, store.Options{Client: client, Hasher: g.hasher, AllowVolatile: true})
	if err != nil {
		_ = client.Close()
		return nil, nil, nil, err
	}
	return own, w, client, nil
}

// keep stores a household under an id and a number of its own.
func (g *ground) keep(ctx context.Context, h care.Household, id contact.ID, a contact.Address, due time.Time) error {
	h.ID = id
	h.Contacts = slices.Clone(h.Contacts)
	h.Contacts[0].ID, h.Contacts[0].Address = id, a
	done, err := g.store.Commit(ctx, store.Change{
		Rules: g.clinic.Rules, ID: id, Was: h, Event: care.Event{At: begun, Tick: &care.Tick{}},
		Result: care.Result{Household: h, Reason: care.PracticeDone, Next: due, Rank: 1},
	})
	if err == nil && done != store.Committed {
		err = errors.New("a household of the bench is there already")
	}
	return err
}

// seedScript stores copies of one household under other ids, each with its log,
// its place in the due set and in the caseload.
//
// KEYS 1 due ZSET, 2 caseload ZSET
// ARGV 1 what the state's key begins with, 2 the log's
//
//	3 the record, 4 the log's entry, 5 the id in both
//	6 due, s (Unix), 7 what a due member begins with
//	8 partition, 9 number of the first, 10 of the last
var seedScript = redis.NewScript(`
local due, case = {}, {}
for i = tonumber(ARGV[9]), tonumber(ARGV[10]) do
  local id = string.format('%02x%030x', tonumber(ARGV[8]), i)
  redis.call('SET', ARGV[1] .. id, (string.gsub(ARGV[3], ARGV[5], id)))
  redis.call('RPUSH', ARGV[2] .. id, (string.gsub(ARGV[4], ARGV[5], id)))
  due[#due + 1] = tonumber(ARGV[6]) + i % 604800
  due[#due + 1] = ARGV[7] .. id
  case[#case + 1] = 1
  case[#case + 1] = id
  if #due >= 1000 or i == tonumber(ARGV[10]) then
    redis.call('ZADD', KEYS[1], unpack(due))
    redis.call('ZADD', KEYS[2], unpack(case))
    due, case = {}, {}
  end
end
return 1`)

// seedBy is how many households one call of the script stores.
const seedBy = 5000

// seed stores n copies of an enrolled household of the bench that are due some
// day from the instant due on. It is the server that makes them: a million take
// some seconds.
func (g *ground) seed(ctx context.Context, n int, due time.Time) error {
	sh, err := g.enrolled(ctx)
	if err != nil {
		return err
	}
	each := (n + contact.Partitions - 1) / contact.Partitions
	for p := range contact.Partitions {
		id := contact.ID(fmt.Sprintf("%02x%030x", p, 0))
		keys := []string{sh.place(sh.keys[2], id), sh.place(sh.keys[3], id)}
		before := func(key string) string { return strings.TrimSuffix(sh.place(key, id), string(id)) }
		for from := 0; from < each; from += seedBy {
			err := seedScript.Run(ctx, g.client, keys, before(sh.keys[0]), before(sh.keys[1]),
				sh.args[argRecord], sh.args[argEntry], string(sh.id), due.Unix(),
				before(fmt.Sprint(sh.args[argDueMember])), p, from, min(from+seedBy, each)-1).Err()
			if err != nil {
				return fmt.Errorf("storing the enrolled: %w", err)
			}
		}
	}
	return nil
}

// enrolled is the commit that stores a household of the bench, as it went over
// the wire for one that stands for all.
func (g *ground) enrolled(ctx context.Context) (*shape, error) {
	own, w, client, err := g.listenTo(ctx)
	if err != nil {
		return nil, err
	}
	defer client.Close()
	a := number(maxHouseholds - 1)
	owner := care.Owner{Name: "Ruth", Address: a, Via: "texts", ID: g.store.ID(g.clinic.Rules.Clinic, a)}
	w.begin()
	_, err = own.Do(ctx, g.clinic.Rules, owner.ID, care.Event{Key: "enrol", At: begun, Practice: &care.Practice{
		By: "lee", Enrol: &care.Enrolment{Owner: owner, Dogs: []care.EnrolledDog{{Name: "Bramble", Sex: care.Male, BCS: 6, Grams: 32_500}}},
	}})
	if err != nil {
		return nil, err
	}
	sh, err := w.end()
	if err != nil {
		return nil, err
	}
	sh.id = owner.ID
	return sh, nil
}
