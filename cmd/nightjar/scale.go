package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"nightjar/cmd/internal/api"
)

func (p *program) recipesScaleCommand() *cobra.Command {
	var f format
	var dough float64
	cmd := &cobra.Command{
		Use:     "scale NAME[@VERSION] --dough-g GRAMS",
		Short:   "A recipe for another mass of dough",
		Long:    "Shows a recipe for another mass of dough in grams. The stored one stays as it is.",
		Example: "  nightjar recipes scale country --dough-g 1800",
		Args:    exact("the recipe's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("dough-g") {
				return misusef("say how much dough you want, such as --dough-g 1800", "--dough-g is missing")
			}
			var r api.RecipeShown
			if err := p.call(cmd.Context(), reads, api.PathRecipe, nil, &r, args[0], fmt.Sprintf("?dough_g=%g", dough)); err != nil {
				return err
			}
			return p.print(f, r, func() { writeRecipe(p.stdout, r) })
		},
	}
	f.flag(cmd)
	cmd.Flags().Float64Var(&dough, "dough-g", 0, "the mass of dough, g")
	return cmd
}

func (p *program) recipesWaterCommand() *cobra.Command {
	var f format
	var ask api.WaterAsk
	var doughG, dough, starter, tap float64
	cmd := &cobra.Command{
		Use:   "water NAME[@VERSION] --dough-c WANTED --flour-c FLOUR",
		Short: "How warm the water must be for a wanted dough temperature",
		Long: `Tells how warm a recipe's water must be so that the dough has the temperature you want once it is mixed, by a balance
of heat over flour, water and starter. --mixing-k is by how much your mixing warms a dough: about 1 K by hand; a machine
does several, which you find once with a thermometer. Where water alone is not cold enough it says how much ice.`,
		Example: `  nightjar recipes water country --dough-c 25 --flour-c 20
  nightjar recipes water country --dough-g 1800 --dough-c 24 --flour-c 27 --starter-c 5 --mixing-k 4 --tap-c 18`,
		Args: exact("the recipe's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("flour-c") {
				return misusef("measure the flour's temperature; the room's will do where it stood there overnight", "--flour-c is missing")
			}
			ask.DoughG, ask.DoughC = given(cmd, "dough-g", doughG), given(cmd, "dough-c", dough)
			ask.StarterC, ask.TapC = given(cmd, "starter-c", starter), given(cmd, "tap-c", tap)
			var w api.WaterShown
			if err := p.call(cmd.Context(), reads, api.PathWater, ask, &w, args[0]); err != nil {
				return err
			}
			return p.print(f, w, func() { fmt.Fprintf(p.stdout, "%.0f g of water: %s\n", w.WaterG, w.Text) })
		},
	}
	f.flag(cmd)
	cmd.Flags().Float64Var(&doughG, "dough-g", 0, "the mass of dough, g (default the recipe's)")
	cmd.Flags().Float64Var(&dough, "dough-c", 0, "the dough's temperature once mixed, °C (default the recipe's)")
	cmd.Flags().Float64Var(&ask.FlourC, "flour-c", 0, "the flour's temperature, °C")
	cmd.Flags().Float64Var(&starter, "starter-c", 0, "the starter's temperature, °C (default the flour's)")
	cmd.Flags().Float64Var(&tap, "tap-c", 0, "the coldest water at hand, °C (default 15)")
	cmd.Flags().Float64Var(&ask.MixingK, "mixing-k", 0, "by how much mixing warms the dough, K")
	return cmd
}
