package desk

import (
	"encoding/json"
	"errors"
	"strings"

	"nightjar/cmd/internal/api"
	"nightjar/rise"
	"nightjar/store"
)

// AddRecipe checks a recipe and stores it, as a new version if its name is taken.
func (d *Desk) AddRecipe(r rise.Recipe) (api.RecipeShown, error) {
	r.Name, r.Note = strings.TrimSpace(r.Name), strings.TrimSpace(r.Note)
	if err := checkName("recipe", r.Name); err != nil {
		return api.RecipeShown{}, err
	}
	shown, err := showRecipe(r, 0)
	if err != nil {
		return shown, err
	}
	if v, ok := r.Target.Get(); ok {
		if err := checkTarget(v); err != nil {
			return shown, err
		}
	}
	shown.Version, err = put(r.Name, r, d.Store.PutRecipe)
	return shown, d.told(err)
}

// showRecipe works out what a recipe comes to.
func showRecipe(r rise.Recipe, version int) (api.RecipeShown, error) {
	f, err := r.Formula()
	if err != nil {
		return api.RecipeShown{}, bad(err, "give grams, or parts of 100 g of flour")
	}
	return api.RecipeShown{Recipe: r, Version: version, Formula: f, Hints: r.Hints(), Caution: f.PerishableCaution()}, nil
}

// Recipe finds a recipe's newest version, or another by NAME@VERSION.
func (d *Desk) Recipe(name string) (api.RecipeShown, error) {
	plain, version, err := cutVersion(name)
	if err != nil {
		return api.RecipeShown{}, err
	}
	doc, err := d.Store.Recipe(plain, version)
	if errors.Is(err, store.ErrNotFound) {
		return api.RecipeShown{}, d.noSuch("recipe", name, "nightjar recipes add NAME flour=500 water=350 salt=10 starter=100", d.Store.Recipes)
	}
	if err != nil {
		return api.RecipeShown{}, err
	}
	return readRecipe(doc)
}

func readRecipe(doc store.Document) (api.RecipeShown, error) {
	var r rise.Recipe
	if err := json.Unmarshal(doc.Body, &r); err != nil {
		return api.RecipeShown{}, err
	}
	return showRecipe(r, doc.Version)
}

// Recipes lists the newest version of every recipe, by name.
func (d *Desk) Recipes() ([]api.RecipeShown, error) {
	docs, err := d.Store.Recipes()
	if err != nil {
		return nil, err
	}
	var all []api.RecipeShown
	for _, doc := range docs {
		r, err := readRecipe(doc)
		if err != nil {
			return nil, err
		}
		all = append(all, r)
	}
	return all, nil
}

// follow fills what a run leaves out from its recipe.
func (d *Desk) follow(r *rise.Run) error {
	if r.Recipe == "" {
		return nil
	}
	recipe, err := d.Recipe(r.Recipe)
	if err != nil {
		return err
	}
	r.Recipe = atVersion(recipe.Name, recipe.Version)
	fill := func(n *rise.Num, v float64) {
		if !n.IsKnown() {
			*n = rise.Known(v)
		}
	}
	fill(&r.InoculationPct, recipe.Formula.InoculationPct)
	fill(&r.HydrationPct, recipe.Formula.HydrationPct)
	fill(&r.SaltPct, recipe.Formula.SaltPct)
	if r.Target == 0 {
		r.Target = recipe.Target.Or(0)
	}
	if recipe.Formula.InoculationPct == 0 { // a yeasted dough has none
		r.InoculationPct = rise.Num{}
	}
	return nil
}

// perishable is the caution of a run's recipe.
func (d *Desk) perishable(run rise.Run) string {
	if run.Recipe == "" {
		return ""
	}
	r, err := d.Recipe(run.Recipe)
	if err != nil {
		return ""
	}
	return r.Caution
}
