package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"gaitpost/internal/contact"
)

const registerTimeout = 15 * time.Second

type registerOptions struct{ config, clinic string }

// newRegisterHookCmd tells a provider where to post to, for the kinds of channel
// that have no page to set it on.
func newRegisterHookCmd(e env) *cobra.Command {
	var o registerOptions
	cmd := &cobra.Command{
		Use:   "register-hook CHANNEL",
		Short: "Tell a channel's provider where to post to",
		Long: `Register-hook tells a channel's provider where to post to, once, and again after
a change of address or secret. Only telegram needs it: other providers have a page
for it, and the settings say what to enter there.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return errors.New("name one channel of the clinic's settings")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd.Context(), e, args[0]) },
	}
	f := cmd.Flags()
	f.StringVar(&o.config, "config", "", "settings file or folder (default $GAITPOST_CONFIG)")
	f.StringVar(&o.clinic, "clinic", "", "the clinic's id, where there are several")
	return cmd
}

func (o *registerOptions) run(ctx context.Context, e env, name string) error {
	config, err := flagOr(e, "--config", o.config, envConfig)
	if err != nil {
		return err
	}
	c, err := clinicFrom(e, config, o.clinic)
	if err != nil {
		return err
	}
	for _, ch := range c.Channels {
		if ch.Name != name {
			continue
		}
		hook := hookURL(c, ch)
		if ch.Kind != contact.Telegram {
			fmt.Fprintf(e.stdout, "Nothing to register: enter this address on the provider's own page:\n%s\n", hook)
			return nil
		}
		bot, err := telegramOf(ch, nil)
		if err != nil {
			return fmt.Errorf("channel %s: %w", name, err)
		}
		ctx, cancel := context.WithTimeout(ctx, registerTimeout)
		defer cancel()
		if err := bot.Register(ctx, hook); err != nil {
			return fmt.Errorf("the provider did not take the address %s: %w", hook, err)
		}
		fmt.Fprintf(e.stdout, "%s: the provider posts to %s\n", name, hook)
		return nil
	}
	return fmt.Errorf("clinic %s has no channel %q", c.Rules.Clinic, name)
}
