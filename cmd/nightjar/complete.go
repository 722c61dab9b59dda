package main

import (
	"strconv"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

// completions are what a shell offers for an argument or a flag; an error offers nothing.
type completions = func(cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective)

// names completes the names in a listing of the API.
func (p *program) names(path string) completions {
	return func(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
		var named []struct {
			Name string `json:"name"`
		}
		if p.call(cmd.Context(), reads, path, nil, &named) != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		var out []string
		for _, n := range named {
			out = append(out, n.Name)
		}
		return out, cobra.ShellCompDirectiveNoFileComp
	}
}

// runs completes the numbers of runs, the newest first, with their names beside them.
func (p *program) runs(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
	var runs []rise.Run
	if p.call(cmd.Context(), reads, api.PathRuns, nil, &runs) != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	var out []string
	for i := len(runs) - 1; i >= 0; i-- {
		out = append(out, cobra.CompletionWithDesc(strconv.Itoa(runs[i].Number), string(runs[i].Kind)+" "+runs[i].Name))
	}
	return out, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
}

// first completes the first argument only.
func first(c completions) completions {
	return func(cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
		if len(args) > 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return c(cmd, args, typed)
	}
}

// completing gives every command and flag that takes a name or a run what to offer.
func (p *program) completing(root *cobra.Command) {
	jars, starters, recipes := p.names(api.PathJars), p.names(api.PathStarters), p.names(api.PathRecipes)
	for path, c := range map[string]completions{
		"jars show": jars, "calibrate": jars, "starters show": starters, "starters plan": starters, "feed": starters, "recipes show": recipes,
		"show": p.runs, "export": p.runs,
	} {
		if cmd := find(root, path); cmd != nil {
			cmd.ValidArgsFunction = first(c)
		}
	}
	if cmd := find(root, "runs compare"); cmd != nil {
		cmd.ValidArgsFunction = p.runs
	}
	flags := map[string]completions{"jar": jars, "starter": starters, "recipe": recipes, "run": p.runs}
	for _, cmd := range every(root) {
		for name, c := range flags {
			if cmd.Flags().Lookup(name) != nil {
				_ = cmd.RegisterFlagCompletionFunc(name, c) // fails only for a flag that is not there
			}
		}
	}
}

// find is the command below root with a path such as "jars show"; nil if there is none.
func find(root *cobra.Command, path string) *cobra.Command {
	for _, cmd := range every(root) {
		if cmd.CommandPath() == root.Name()+" "+path {
			return cmd
		}
	}
	return nil
}

// every lists a command and all below it.
func every(cmd *cobra.Command) []*cobra.Command {
	all := []*cobra.Command{cmd}
	for _, sub := range cmd.Commands() {
		all = append(all, every(sub)...)
	}
	return all
}
