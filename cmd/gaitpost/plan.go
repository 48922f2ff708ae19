package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// planCommand shows a plan, or changes it.
type planCommand struct {
	planOptions
	accept, decline, until string
	withdraw               string
	asJSON, yes            bool
}

func newPlanCmd(e env) *cobra.Command {
	var o planCommand
	o.actions, o.fields = map[care.PlanAction]*string{}, map[string]*string{}
	cmd := &cobra.Command{
		Use:   "plan --phone NUMBER --dog NAME [--json | a change | --accept KIND | --decline KIND]",
		Short: "Show a dog's plan and what might come next; change it, decide",
		Long: `Plan shows what is on a dog's plan, how each area stands, and what might come
next with its reason and source. With a change it says first what is to be known
about it, and makes it where nothing is or where --yes is given: cautions, never
blocks. A suggestion is accepted or declined with --reason; accepting begins
nothing by itself. Names only: no dose is kept. This is for the practice: what is
said to vets alone stands here too.

  gaitpost plan --config clinics --phone "07700 900401" --dog Bramble
  gaitpost plan --config clinics --phone "07700 900401" --dog Bramble \
      --start hydrotherapy --area therapy --who "the pool" --comfort --yes
  gaitpost plan --config clinics --phone "07700 900401" --dog Bramble \
      --decline home --reason "lives in a bungalow"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return o.run(cmd.Context(), e) },
	}
	f := cmd.Flags()
	o.addFlags(f)
	details := f.String(string(care.PlanDetails), "", "what is written about something on the plan changes: --why, --who, --review, --batch, --source")
	o.actions[care.PlanDetails] = details
	f.StringVar(&o.withdraw, "withdraw", "", "something was entered in error: it leaves the plan and stays in the record")
	f.StringVar(&o.accept, "accept", "", "a suggestion, by its kind; KIND/ENTRY where it is about an entry")
	f.StringVar(&o.decline, "decline", "", "the same, declined")
	f.StringVar(&o.until, "until", "", "until when that holds, YYYY-MM-DD (default: until what it rests on changes)")
	f.BoolVar(&o.asJSON, "json", false, "write JSON")
	f.BoolVar(&o.yes, "yes", false, "make the change although there is something to know about it")
	return cmd
}

func (o *planCommand) run(ctx context.Context, e env) error {
	deeds := 0
	for _, given := range []string{o.accept, o.decline, o.withdraw, o.action()} {
		if given != "" {
			deeds++
		}
	}
	if deeds > 1 {
		return errors.New("one thing at a time: a change, --withdraw, --accept or --decline")
	}
	if o.action() != "" {
		return o.change(ctx, e, o.yes)
	}
	p, err := o.open(ctx, e)
	if err != nil {
		return err
	}
	defer p.close()
	switch {
	case o.accept != "":
		return p.decide(ctx, o, o.accept, care.Accepted)
	case o.decline != "":
		return p.decide(ctx, o, o.decline, care.Rejected)
	case o.withdraw != "":
		return p.withdraw(ctx, o)
	}
	return p.show(o.asJSON)
}

// action is the name of what a change is about, "" where none is asked for.
func (o *planOptions) action() string {
	for _, what := range o.actions {
		if *what != "" {
			return *what
		}
	}
	return ""
}

// planOf is a dog's plan as it stands in the store.
type planOf struct {
	e     env
	st    *store.Store
	close func()
	rules *care.Rules
	owner contact.Address
	house care.Household
	dog   int8
}

// open finds the dog that the flags name.
func (o *planOptions) open(ctx context.Context, e env) (*planOf, error) {
	if *o.fields["phone"] == "" {
		return nil, errors.New("--phone is missing: whose dog is it?")
	}
	rules, err := o.rules(e)
	if err != nil {
		return nil, err
	}
	owner, _, err := contact.ParsePhone(*o.fields["phone"], rules.Region)
	if err != nil {
		return nil, fmt.Errorf("--phone: %w", err)
	}
	hasher, err := contactHasher(e)
	if err != nil {
		return nil, err
	}
	st, closeStore, err := o.storeFlags.open(ctx, e, hasher)
	if err != nil {
		return nil, err
	}
	p := &planOf{e: e, st: st, close: closeStore, rules: rules, owner: owner}
	if err := p.load(ctx, *o.fields["dog"]); err != nil {
		closeStore()
		return nil, err
	}
	return p, nil
}

func (p *planOf) load(ctx context.Context, dog string) error {
	l, err := p.st.Load(ctx, p.rules.Clinic, p.st.ID(p.rules.Clinic, p.owner))
	if err != nil {
		return err
	}
	if l.Found == store.NotFound {
		return fmt.Errorf("no household is enrolled with the number %s at %s; nothing was changed", contact.Mask(p.owner), p.rules.Name)
	}
	p.house = l.Household
	if len(p.house.Dogs) == 0 {
		return errors.New("that household has no dog")
	}
	i, err := dogCalled(&p.house, dog, "plan")
	p.dog = int8(i)
	return err
}

func (p *planOf) d() *care.Dog { return &p.house.Dogs[p.dog] }

// do makes something of the practice happen to the household.
func (p *planOf) do(ctx context.Context, what care.Practice) (care.Result, error) {
	res, err := p.st.Do(ctx, p.rules, p.house.ID, practiceEvent(p.e, what))
	switch {
	case err != nil:
		return res, fmt.Errorf("it is not certain that the change was kept: %w; look at the plan before trying again", err)
	case res.Reason == care.PracticeRefused:
		return res, fmt.Errorf("nothing was changed: %s", res.Refusal)
	}
	return res, nil
}

// make makes a change of the plan. What is to be known about it is said first;
// without yes that is all that happens.
func (p *planOf) make(ctx context.Context, c care.PlanChange, yes bool) error {
	c.Entry = p.ended(c)
	said := c.Dog
	c.Dog = p.d().Name
	advice := care.PlanAdvice(p.rules, p.d(), c, p.e.now())
	for _, s := range advice {
		fmt.Fprintf(p.e.stdout, "to know: %s\n", s)
	}
	if len(advice) > 0 && !yes {
		return errors.New("nothing was changed yet; say --yes to go on")
	}
	res, err := p.do(ctx, care.Practice{Plan: &c})
	if err != nil {
		return err
	}
	fmt.Fprintf(p.e.stdout, "%s: %s: %s\n", cmp.Or(said, c.Dog), c.Action, c.What)
	for _, n := range res.Notices {
		fmt.Fprintf(p.e.stdout, "note: %s\n", n.Item.Sentence)
	}
	return nil
}

// ended is the entry that a restart by name is about where it has ended, or 0:
// a name alone finds what has not.
func (p *planOf) ended(c care.PlanChange) uint16 {
	if c.Action != care.PlanRestart {
		return c.Entry
	}
	id := uint16(0)
	for _, e := range p.d().Plan {
		if strings.EqualFold(e.What, c.What) {
			if e.Status != care.Ended {
				return c.Entry
			}
			id = e.ID
		}
	}
	return id
}

func (p *planOf) decide(ctx context.Context, o *planCommand, kind string, v care.Verdict) error {
	name, number, _ := strings.Cut(kind, "/")
	c := care.Decide{Dog: p.dog, Kind: care.SuggestionKind(name), Verdict: v, Why: *o.fields[clinic.ColumnReason]}
	if number != "" {
		n, err := strconv.ParseUint(number, 10, 16)
		if err != nil {
			return fmt.Errorf("%q is not the number of an entry", number)
		}
		c.Entry = uint16(n)
	}
	if o.until != "" {
		d, err := cadence.ParseLocalDate(o.until)
		if err != nil {
			return fmt.Errorf("--until: %w", err)
		}
		c.Until = cadence.At(d, 12*60, p.rules.Zone).Unix()
	}
	list := care.Suggest(p.rules, p.d(), p.e.now().Unix())
	i := slices.IndexFunc(list, func(s care.Suggestion) bool { return s.Kind == c.Kind && s.Entry == c.Entry })
	if _, err := p.do(ctx, care.Practice{Decide: &c}); err != nil {
		return err
	}
	fmt.Fprintf(p.e.stdout, "%s: %s: %s\n", p.d().Name, v, list[i].What)
	if d := list[i].Draft; v == care.Accepted && d != nil {
		fmt.Fprintf(p.e.stdout, "Nothing has begun by that alone. To put it on the plan: %s\n", begin(d))
	}
	return nil
}

// begin is what to type to put an accepted suggestion on the plan. A medicine
// is never named: which one, the vet says.
func begin(d *care.Draft) string {
	if d.Area == care.AreaPain {
		return "--start NAME --class CLASS"
	}
	what := cmp.Or(d.What, "NAME")
	area, _, _ := strings.Cut(strings.TrimPrefix(strings.TrimSuffix(string(d.Area), "s"), "body "), " ")
	return fmt.Sprintf("--start %q --area %s", what, area)
}

func (p *planOf) withdraw(ctx context.Context, o *planCommand) error {
	for _, e := range slices.Backward(p.d().Plan) {
		if !strings.EqualFold(e.What, o.withdraw) {
			continue
		}
		if _, err := p.do(ctx, care.Practice{Withdraw: &care.Withdraw{Dog: p.dog, Entry: e.ID, Why: *o.fields[clinic.ColumnReason]}}); err != nil {
			return err
		}
		fmt.Fprintf(p.e.stdout, "%s: withdrawn as entered in error: %s\n", p.d().Name, e.What)
		return nil
	}
	return fmt.Errorf("nothing was changed: %s has no %q on the plan", p.d().Name, o.withdraw)
}

func (p *planOf) show(asJSON bool) error {
	v := viewPlan(p.rules, p.d(), p.e.now())
	if asJSON {
		enc := json.NewEncoder(p.e.stdout)
		enc.SetIndent("", "  ")
		return enc.Encode(v)
	}
	v.print(p.e.stdout)
	return nil
}

func dateText(r *care.Rules, at int64) string {
	if at == 0 {
		return ""
	}
	return time.Unix(at, 0).In(r.Zone).Format(time.DateOnly)
}
