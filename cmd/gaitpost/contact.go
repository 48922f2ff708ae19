package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// contactOptions are the flags that all of contact's subcommands share.
type contactOptions struct {
	storeFlags
	phone string
}

// newContactCmd lists and changes at which addresses a household is reached.
func newContactCmd(e env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "contact",
		Short: "See and change at which addresses a household is reached",
		Long: `Contact lists the addresses of a household and adds others: another number of an
owner, a second owner of the same dog, or a chat that an owner joins by a link.
The conversation goes on wherever the owner writes; the history stays one.`,
	}
	cmd.AddCommand(newContactListCmd(e), newContactAddCmd(e), newContactJoinCmd(e))
	return cmd
}

func (o *contactOptions) add(cmd *cobra.Command) {
	o.storeFlags.add(cmd.Flags())
	cmd.Flags().StringVar(&o.phone, "phone", "", "a number of the owner's that is known already")
}

// household opens the store and finds the household of --phone.
func (o *contactOptions) household(ctx context.Context, e env) (*care.Rules, *store.Store, care.Household, func(), error) {
	var none care.Household
	rules, err := o.rules(e)
	if err != nil {
		return nil, nil, none, nil, err
	}
	address, _, err := contact.ParsePhone(o.phone, rules.Region)
	if err != nil {
		return nil, nil, none, nil, fmt.Errorf("--phone: %w", err)
	}
	hasher, err := contactHasher(e)
	if err != nil {
		return nil, nil, none, nil, err
	}
	st, closeStore, err := o.open(ctx, e, hasher)
	if err != nil {
		return nil, nil, none, nil, err
	}
	for _, kind := range []contact.Channel{contact.SMS, contact.WhatsApp, contact.Relay} {
		l, err := st.Load(ctx, rules.Clinic, st.ID(rules.Clinic, contact.Address{Channel: kind, Value: address.Value}))
		if err != nil {
			closeStore()
			return nil, nil, none, nil, err
		}
		if l.Found != store.NotFound && !l.Household.Stranger {
			return rules, st, l.Household, closeStore, nil
		}
	}
	closeStore()
	return nil, nil, none, nil, fmt.Errorf("no household is enrolled with the number %s at %s", contact.Mask(address), rules.Name)
}

func newContactListCmd(e env) *cobra.Command {
	o := &contactOptions{}
	cmd := &cobra.Command{
		Use: "list", Short: "List a household's addresses", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, _, h, closeStore, err := o.household(cmd.Context(), e)
			if err != nil {
				return err
			}
			defer closeStore()
			for i, c := range h.Contacts {
				fmt.Fprintf(e.stdout, "%d  %s  %s %s  %s\n", i+1, c.Name, c.Address.Channel, contact.Mask(c.Address), c.Consent.State)
			}
			return nil
		},
	}
	o.add(cmd)
	return cmd
}

// newAddress are the flags of contact add.
type newAddress struct {
	contactOptions
	number, channel, person, lang string
	replace, askOld               bool
}

func newContactAddCmd(e env) *cobra.Command {
	o := &newAddress{}
	cmd := &cobra.Command{
		Use:   "add",
		Short: "Add another number of an owner's, or a second owner",
		Example: `  gaitpost contact add --phone '07700 900101' --new '07700 900177' --replace --ask-old
  gaitpost contact add --phone '07700 900101' --new '07700 900178' --person Sam`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return o.run(cmd.Context(), e) },
	}
	o.add(cmd)
	f := cmd.Flags()
	f.StringVar(&o.number, "new", "", "the number to add")
	f.StringVar(&o.channel, "channel", "", "the clinic's channel it is on (default: the first)")
	f.StringVar(&o.person, "person", "", "first name, where it is another person's: they are invited first")
	f.StringVar(&o.lang, "language", "", "language of another person, like en")
	f.BoolVar(&o.replace, "replace", false, "the number of --phone is not used any more")
	f.BoolVar(&o.askOld, "ask-old", false, "ask at the number of --phone first whether the new one is theirs")
	return cmd
}

func (o *newAddress) run(ctx context.Context, e env) error {
	if o.person != "" && (o.replace || o.askOld) {
		return errors.New("--person adds somebody else: --replace and --ask-old are for another number of the same owner")
	}
	rules, st, h, closeStore, err := o.household(ctx, e)
	if err != nil {
		return err
	}
	defer closeStore()
	ch, err := channelCalled(rules, o.channel)
	if err != nil {
		return err
	}
	a, _, err := contact.Parse(ch.Kind, o.number, rules.Region)
	if err != nil {
		return fmt.Errorf("--new: %w", err)
	}
	n := &care.NewContact{Of: o.of(st, h, rules), Address: a, ID: st.ID(rules.Clinic, a), Via: ch.Name,
		Name: o.person, Lang: o.lang, Replace: o.replace, AskOld: o.askOld}
	if o.person != "" {
		n.Of = -1
	}
	if err := doPractice(ctx, e, st, rules, h.ID, care.Practice{Contact: n}); err != nil {
		return err
	}
	switch {
	case o.askOld:
		fmt.Fprintf(e.stdout, "asked at the old number; %s is added after a yes\n", contact.Mask(a))
	default:
		fmt.Fprintf(e.stdout, "added %s\n", contact.Mask(a))
	}
	return nil
}

// of is which contact of the household the number of --phone is.
func (o *contactOptions) of(st *store.Store, h care.Household, r *care.Rules) int8 {
	a, _, err := contact.ParsePhone(o.phone, r.Region)
	if err != nil {
		return 0
	}
	for i, c := range h.Contacts {
		if c.Address.Value == a.Value {
			return int8(i)
		}
	}
	return 0
}

func newContactJoinCmd(e env) *cobra.Command {
	o := &contactOptions{}
	channel := ""
	cmd := &cobra.Command{
		Use: "join", Short: "Text an owner the link by which they join on Telegram", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return o.join(cmd.Context(), e, channel) },
	}
	o.add(cmd)
	cmd.Flags().StringVar(&channel, "channel", "", "the clinic's channel to join on")
	return cmd
}

func (o *contactOptions) join(ctx context.Context, e env, name string) error {
	rules, st, h, closeStore, err := o.household(ctx, e)
	if err != nil {
		return err
	}
	defer closeStore()
	ch, err := channelCalled(rules, name)
	if err != nil {
		return err
	}
	if ch.Kind != contact.Telegram {
		return fmt.Errorf("on the channel %s nobody joins by a link; add the owner's number there with contact add", ch.Name)
	}
	random := make([]byte, 16)
	if _, err := rand.Read(random); err != nil {
		return fmt.Errorf("no code could be made: %w", err)
	}
	code := care.NewJoinCode(h.ID, random)
	j := &care.Join{Contact: o.of(st, h, rules), Code: code, Via: ch.Name, Link: "https://t.me/" + ch.Address + "?start=" + code}
	if err := doPractice(ctx, e, st, rules, h.ID, care.Practice{Join: j}); err != nil {
		return err
	}
	fmt.Fprintln(e.stdout, "the owner was sent a link that is good once, for a week")
	return nil
}

func channelCalled(r *care.Rules, name string) (care.Channel, error) {
	for _, ch := range r.Channels {
		if ch.Name == name || name == "" {
			return ch, nil
		}
	}
	return care.Channel{}, fmt.Errorf("the clinic has no channel %q", name)
}

// doPractice lets staff's action happen to a household; a refusal is an error.
func doPractice(ctx context.Context, e env, st *store.Store, r *care.Rules, id contact.ID, p care.Practice) error {
	res, err := st.Do(ctx, r, id, practiceEvent(e, p))
	switch {
	case errors.Is(err, store.ErrContactTaken):
		return errors.New("nothing was changed: that address belongs to another household")
	case err != nil:
		return fmt.Errorf("it is not certain that this was kept: %w; look before trying again", err)
	case res.Reason == care.PracticeRefused:
		return fmt.Errorf("nothing was changed: %s", res.Refusal)
	}
	return nil
}
