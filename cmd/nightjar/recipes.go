package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
)

func (p *program) recipesCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "recipes",
		Short: "Add, list, show and scale recipes",
		Long: `A recipe is a dough in grams, or in parts of 100 of flour. What it comes to is worked out with the flour and water of
the starter counted in: true hydration, prefermented flour, salt. nightjar start --recipe takes its numbers over.`,
		Args: exact(),
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(p.recipesAddCommand(), p.recipesListCommand(), p.recipesShowCommand(), p.recipesScaleCommand(), p.recipesWaterCommand())
	return cmd
}

func (p *program) recipesAddCommand() *cobra.Command {
	var f format
	var r rise.Recipe
	var target, dough float64
	cmd := &cobra.Command{
		Use:   "add NAME PART[/WHAT]=GRAMS[@WATER]...",
		Short: "Add a recipe, or a new version of one",
		Long: `Adds a recipe. PART is flour, water, salt, starter or other; /WHAT names the ingredient; @WATER is a starter's hydration
(100 unless given) or the water in another ingredient, both in %.`,
		Example: `  nightjar recipes add country flour=400 flour/rye=50 water=300 starter=100 salt=10
  nightjar recipes add brioche flour=500 other/milk=200@87 other/egg=100@75 starter=150@60 salt=9`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) < 2 {
				return exact("the recipe's name", "the first ingredient")(cmd, args)
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			r.Name, r.Target, r.DoughC = args[0], given(cmd, "target", target), given(cmd, "dough-c", dough)
			for _, word := range args[1:] {
				i, err := ingredient(word)
				if err != nil {
					return err
				}
				r.Ingredients = append(r.Ingredients, i)
			}
			var stored api.RecipeShown
			if err := p.call(cmd.Context(), makes, api.PathAddRecipe, r, &stored); err != nil {
				return err
			}
			return p.print(f, stored, func() { writeRecipe(p.stdout, stored) })
		},
	}
	f.flag(cmd)
	cmd.Flags().Float64Var(&target, "target", 0, "the multiple at which bulk is to end")
	cmd.Flags().Float64Var(&dough, "dough-c", 0, "the temperature it is mixed to, °C")
	cmd.Flags().StringVar(&r.Note, "note", "", "words to keep with it")
	return cmd
}

// ingredient reads PART[/WHAT]=GRAMS[@WATER].
func ingredient(word string) (rise.Ingredient, error) {
	wrong := func() (rise.Ingredient, error) {
		return rise.Ingredient{}, misusef("write PART[/WHAT]=GRAMS[@WATER], such as flour/rye=100 or starter=150@60", "%q is no ingredient", word)
	}
	name, amount, ok := strings.Cut(word, "=")
	if !ok {
		return wrong()
	}
	part, what, named := strings.Cut(name, "/")
	if !named {
		what = part
	}
	grams, water, wet := strings.Cut(amount, "@")
	g, err := strconv.ParseFloat(grams, 64)
	if err != nil {
		return wrong()
	}
	i := rise.Ingredient{Name: what, Part: rise.Part(part), G: g}
	if !wet {
		return i, nil
	}
	pct, err := strconv.ParseFloat(strings.TrimSuffix(water, "%"), 64)
	if err != nil {
		return wrong()
	}
	if i.Part == rise.PartStarter {
		i.HydrationPct = rise.Known(pct)
	} else {
		i.WaterPct = rise.Known(pct)
	}
	return i, nil
}

func (p *program) recipesListCommand() *cobra.Command {
	var f format
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the recipes",
		Args:  exact(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			var all []api.RecipeShown
			if err := p.call(cmd.Context(), reads, api.PathRecipes, nil, &all); err != nil {
				return err
			}
			return p.print(f, all, func() {
				if len(all) == 0 {
					fmt.Fprintln(p.stderr, "no recipe yet: nightjar recipes add")
					return
				}
				w := tabwriter.NewWriter(p.stdout, 0, 0, 2, ' ', 0)
				for _, r := range all {
					fmt.Fprintf(w, "%s@%d\t%.0f g\t%s\n", r.Name, r.Version, r.Formula.DoughG, formula(r.Formula))
				}
				w.Flush()
			})
		},
	}
	f.flag(cmd)
	return cmd
}

func (p *program) recipesShowCommand() *cobra.Command {
	var f format
	cmd := &cobra.Command{
		Use:     "show NAME[@VERSION]",
		Short:   "Show a recipe and what it comes to",
		Example: "  nightjar recipes show country",
		Args:    exact("the recipe's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var r api.RecipeShown
			if err := p.call(cmd.Context(), reads, api.PathRecipe, nil, &r, args[0]); err != nil {
				return err
			}
			return p.print(f, r, func() { writeRecipe(p.stdout, r) })
		},
	}
	f.flag(cmd)
	return cmd
}

// formula is what a recipe comes to, in one line.
func formula(f rise.Formula) string {
	return fmt.Sprintf("hydration %.1f %%, prefermented flour %.1f %%, salt %.1f %%", f.HydrationPct, f.InoculationPct, f.SaltPct)
}

func writeRecipe(w io.Writer, r api.RecipeShown) {
	fmt.Fprintf(w, "%s@%d: %.0f g of dough\n  %s\n\n", r.Name, r.Version, r.Formula.DoughG, formula(r.Formula))
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for n, i := range r.Ingredients {
		pct := ""
		if n < len(r.Formula.Percentages) {
			pct = fmt.Sprintf("%.1f %%", r.Formula.Percentages[n])
		}
		fmt.Fprintf(t, "  %s\t%.4g g\t%s\n", i.Name, i.G, pct)
	}
	t.Flush()
	for _, line := range slices.Concat(r.Hints, []string{r.Caution, r.Note}) {
		if line != "" {
			fmt.Fprintf(w, "  %s\n", line)
		}
	}
}
