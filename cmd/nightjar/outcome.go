package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

func (p *program) outcomeCommand() *cobra.Command {
	var f actionFlags
	var o rise.Outcome
	cmd := &cobra.Command{
		Use:   "outcome --run N [--spread WORD] [--crumb WORD] [--crust WORD] [--sourness WORD]",
		Short: "Say how the bread came out",
		Long: `Keeps how the bread of a run came out, in one word each; what you leave out stays unsaid:

  --spread    ` + strings.Join(rise.Spreads, ", ") + `
  --crumb     ` + strings.Join(rise.Crumbs, ", ") + `
  --crust     ` + strings.Join(rise.Crusts, ", ") + `
  --sourness  ` + strings.Join(rise.Sournesses, ", ") + `

With two or more of them, nightjar runs compare can say what to change next time: one thing at most.`,
		Example: "  nightjar outcome --run 14 --spread held --crumb open --sourness right",
		Args:    exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return p.do(cmd, f, rise.Action{Kind: rise.ActionOutcome, Outcome: &o}, func(d api.ActionDone) string {
				return fmt.Sprintf("%s came out: %s", title(*d.Run), outcome(*d.Action.Outcome))
			})
		},
	}
	f.add(cmd, true)
	cmd.Flags().StringVar(&f.text, "text", "", "words to keep beside it")
	words := func(to *string, name, usage string, words []string) {
		cmd.Flags().StringVar(to, name, "", usage+": "+strings.Join(words, ", "))
		_ = cmd.RegisterFlagCompletionFunc(name, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp))
	}
	words(&o.Spread, "spread", "how the loaf stood", rise.Spreads)
	words(&o.Crumb, "crumb", "the crumb", rise.Crumbs)
	words(&o.Crust, "crust", "the crust", rise.Crusts)
	words(&o.Sourness, "sourness", "how sour", rise.Sournesses)
	return cmd
}

// outcome is an outcome in words: "held, crumb open".
func outcome(o rise.Outcome) string {
	named := func(what, word string) string {
		if word == "" {
			return ""
		}
		return what + " " + word
	}
	return joined(o.Spread, named("crumb", o.Crumb), named("crust", o.Crust), named("sourness", o.Sourness))
}
