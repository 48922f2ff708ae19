package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// byCommandLine is who did what is done from the command line.
const byCommandLine = "cli"

// storeFlags say which clinic of which deployment a command works on.
type storeFlags struct {
	config, clinic, redis string
	allowVolatile         bool

	found *clinic.Clinic // once rules has read it
	lay   overlaid       // likewise
}

func (s *storeFlags) add(f *pflag.FlagSet) {
	f.StringVar(&s.config, "config", "", "settings file or folder (default $GAITPOST_CONFIG)")
	f.StringVar(&s.clinic, "clinic", "", "the clinic's id, where there are several")
	f.StringVar(&s.redis, "redis", "", "where Redis is, like redis://127.0.0.1:6379/0 (default $GAITPOST_REDIS_URL)")
	f.BoolVar(&s.allowVolatile, "allow-volatile", false, "use a Redis that keeps nothing on disk")
}

// rules reads the clinic's settings.
func (s *storeFlags) rules(e env) (*care.Rules, error) {
	config, err := flagOr(e, "--config", s.config, envConfig)
	if err != nil {
		return nil, err
	}
	c, lay, err := clinicAndOverlay(e, config, s.clinic)
	if err != nil {
		return nil, err
	}
	s.found, s.lay = c, lay
	return c.Rules, nil
}

// open opens the store; the caller calls close when done with it.
func (s *storeFlags) open(ctx context.Context, e env, h *contact.Hasher) (st *store.Store, closeStore func(), err error) {
	url, err := flagOr(e, "--redis", s.redis, envRedis)
	if err != nil {
		return nil, nil, err
	}
	keys, err := sealKeys(e)
	if err != nil {
		return nil, nil, err
	}
	client, err := redisClient(e, url)
	if err != nil {
		return nil, nil, err
	}
	o := store.Options{Client: client, Hasher: h, Keys: keys, AllowVolatile: s.allowVolatile}
	var settings *inForce
	if s.found != nil {
		settings = newInForce([]*clinic.Clinic{s.found}, s.lay, slog.New(slog.DiscardHandler))
		o.Versions = settings.versionsOf
	}
	st, err = store.Open(ctx, o)
	if err == nil && settings != nil {
		err = s.inEffect(ctx, e, st, settings)
	}
	if err != nil {
		_ = client.Close()
		return nil, nil, err
	}
	return st, func() { _ = client.Close() }, nil
}

// inEffect lets the rules that were handed out hold what was changed at the desk
// since: nobody has used them yet.
func (s *storeFlags) inEffect(ctx context.Context, e env, st *store.Store, settings *inForce) error {
	if err := settings.look(ctx, st); err != nil {
		return err
	}
	for _, n := range settings.notes() {
		fmt.Fprintln(e.stderr, n)
	}
	if c := settings.clinics()[0]; c != s.found {
		*s.found.Rules = *c.Rules
		settings.versions.Store(s.found.Rules, settings.versionsOf(c.Rules))
	}
	return nil
}

// enrolOptions are the flags of enrol.
type enrolOptions struct {
	storeFlags
	noInvite, dryRun bool
	anew             string             // how a new consent was given after an erasure
	fields           map[string]*string // by column
	lossPlan         bool
	untreated        bool
	oneByOne         bool
	medicines        []string
}

// enrolFlags are the columns that one household can be given by, as flags.
var enrolFlags = []struct{ flag, column, about string }{
	{"owner", "owner", "the owner's first name"},
	{"phone", "phone", "the owner's mobile number"},
	{"dog", "dog", "the dog's name"},
	{"sex", "sex", "male, female, male entire or female entire"},
	{"own1", "own1", "an everyday thing that matters to owner and dog"},
	{"own2", "own2", "a second one"},
	{"bcs", "bcs", "body condition score, 1 to 9"},
	{"muscle", "muscle", "muscle condition: normal, mild, moderate or severe"},
	{"weight", "weight_kg", "weight in kg, on the practice's scale"},
	{"target", "target_kg", "target weight in kg"},
	{"plan", "plan", "the rest of the plan, like \"therapy:hydrotherapy since 2026-01-02\""},
	{"before", "before", "a check-in answered at the practice, like \"1 0 2 1 1 0 x x\""},
	{"language", "language", "the owner's language, like en"},
	{"zone", "zone", "the owner's time zone, if not the practice's"},
	{"channel", "channel", "the clinic's channel to text through"},
	{"ref", "ref", "the practice's own number for the dog"},
}

func newEnrolCmd(e env) *cobra.Command {
	o := enrolOptions{fields: map[string]*string{}}
	cmd := &cobra.Command{
		Use:   "enrol [FILE.csv|FILE.yaml]",
		Short: "Enrol owners and dogs, from a table, a YAML file or flags",
		Long: "Enrol takes over a caseload, or one dog given by flags. A file is taken over whole\n" +
			"or not at all: every bad row is named. Enrolling again changes only what changed.\n" +
			"Each owner gets one invitation, and nothing more until they agree.\n\n" +
			"A table has a header row with these columns, in any order; commas, semicolons or\n" +
			"tabs part the cells:\n\n" + columnHelp() + "\n" +
			"Rows with one telephone number are one household with several dogs. A YAML file\n" +
			"has the same names, for one household or a list of them under \"households\", each\n" +
			"with its \"dogs\".",
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd.Context(), e, args) },
	}
	f := cmd.Flags()
	o.storeFlags.add(f)
	for _, k := range enrolFlags {
		o.fields[k.column] = f.String(k.flag, "", k.about)
	}
	f.StringArrayVar(&o.medicines, "medicine", nil, "class:name of a medicine on the plan, like nsaid:carprofen (may be repeated)")
	f.BoolVar(&o.lossPlan, "loss-plan", false, "the dog is on a weight-loss plan")
	f.BoolVar(&o.untreated, "untreated", false, "treatment has not begun yet")
	f.BoolVar(&o.oneByOne, "one-by-one", false, "the owner prefers one question at a time")
	f.BoolVar(&o.noInvite, "no-invite", false, "send no invitation yet")
	f.StringVar(&o.anew, "anew", "", "how an owner whose contacts were erased has consented anew, like \"signed at the practice\"")
	f.BoolVar(&o.dryRun, "dry-run", false, "read and check only; Redis is not needed")
	return cmd
}

func columnHelp() string {
	var b strings.Builder
	for _, c := range clinic.EnrolColumns {
		fmt.Fprintf(&b, "  %-11s %s\n", c.Name, c.About)
	}
	return b.String()
}

func (o *enrolOptions) run(ctx context.Context, e env, args []string) error {
	rules, err := o.rules(e)
	if err != nil {
		return err
	}
	in := clinic.EnrolReader{Rules: rules, Now: e.now(), Invite: !o.noInvite}
	if !o.dryRun {
		if in.Hasher, err = contactHasher(e); err != nil {
			return err
		}
	}
	list, problems, err := o.read(in, args)
	if err != nil {
		return err
	}
	for _, p := range problems {
		if p.Severity == clinic.Doubtful {
			fmt.Fprintln(e.stderr, p)
		}
	}
	if err := refuse(problems); err != nil {
		return fmt.Errorf("nobody was enrolled; %w", err)
	}
	if o.dryRun {
		for _, en := range list {
			fmt.Fprintf(e.stdout, "%s: %s\n", whose(en.Owner), dogNames(en))
		}
		fmt.Fprintf(e.stdout, "%s can be enrolled; nothing was changed\n", count(len(list), "household"))
		return nil
	}
	st, closeStore, err := o.open(ctx, e, in.Hasher)
	if err != nil {
		return err
	}
	defer closeStore()
	return o.enrolAll(ctx, e, st, rules, list)
}

// read reads the file, or the household that the flags give.
func (o *enrolOptions) read(in clinic.EnrolReader, args []string) ([]care.Enrolment, []clinic.Problem, error) {
	fields := o.given()
	switch {
	case len(args) == 0 && len(fields) == 0:
		return nil, nil, errors.New("there is nobody to enrol: name a file, or give --owner, --phone and --dog")
	case len(args) == 0:
		list, problems := in.Fields("the command line", fields)
		return list, problems, nil
	case len(fields) > 0:
		return nil, nil, fmt.Errorf("give a file or one household by flags, not both; %s goes with no file", fields[0].Name)
	}
	data, err := os.ReadFile(args[0])
	if err != nil {
		return nil, nil, fmt.Errorf("the file can't be read: %w", err)
	}
	list, problems := in.Read(filepath.ToSlash(args[0]), data)
	return list, problems, nil
}

func (o *enrolOptions) given() []clinic.Field {
	var out []clinic.Field
	for _, k := range enrolFlags {
		if v := *o.fields[k.column]; v != "" {
			out = append(out, clinic.Field{Column: k.column, Name: "--" + k.flag, Value: v})
		}
	}
	for column, on := range map[string]bool{"loss_plan": o.lossPlan, "untreated": o.untreated, "one_by_one": o.oneByOne} {
		if on {
			out = append(out, clinic.Field{Column: column, Name: "--" + strings.ReplaceAll(column, "_", "-"), Value: "yes"})
		}
	}
	if len(o.medicines) > 0 {
		out = append(out, clinic.Field{Column: "medicines", Name: "--medicine", Value: strings.Join(o.medicines, ";")})
	}
	return out
}

// enrolAll lets each enrolment happen to its household. Where the store fails
// on the way, the rest is enrolled by running the command again.
func (o *enrolOptions) enrolAll(ctx context.Context, e env, st *store.Store, r *care.Rules, list []care.Enrolment) error {
	for i := range list {
		en := &list[i]
		res, err := st.Do(ctx, r, en.Owner.ID, practiceEvent(e, care.Practice{Enrol: en, Anew: o.anew}))
		switch {
		case err != nil:
			return fmt.Errorf("%d of %d households are enrolled; %s: %w; run the command again for the rest: what is done stays as it is",
				i, len(list), whose(en.Owner), err)
		case res.Reason == care.PracticeRefused:
			return fmt.Errorf("%d of %d households are enrolled; %s: %s", i, len(list), whose(en.Owner), res.Refusal)
		}
		fmt.Fprintf(e.stdout, "%s: %s: %s\n", whose(en.Owner), dogNames(*en), enrolled(res))
	}
	fmt.Fprintf(e.stdout, "%s enrolled\n", count(len(list), "household"))
	return nil
}

// enrolled says what an enrolment changed.
func enrolled(res care.Result) string {
	switch res.Changed {
	case "":
		return "unchanged"
	case "new":
		return "new"
	}
	return "changed (" + res.Changed + ")"
}

// practiceEvent is one thing done from the command line. Its key makes it
// happen once, however often the store is asked, and no other run's.
func practiceEvent(e env, p care.Practice) care.Event {
	p.By = byCommandLine
	id := make([]byte, 12)
	_, _ = rand.Read(id) // never fails
	return care.Event{Key: byCommandLine + "/" + hex.EncodeToString(id), At: e.now(), Practice: &p}
}

// whose names an owner to whoever sits at the command line, without the number.
func whose(o care.Owner) string { return fmt.Sprintf("%s (%s)", o.Name, contact.Mask(o.Address)) }

func dogNames(en care.Enrolment) string {
	names := make([]string, len(en.Dogs))
	for i, d := range en.Dogs {
		names[i] = d.Name
	}
	return strings.Join(names, ", ")
}
