"""The bowl that is already wrong: what is in it stays, the rest is solved again, close to the plan.

    minimise    grams moved from the plan
    subject to  w_i = what the scale said            for every ingredient that was weighed
                w_i >= what is in the bowl           for what can only be added to, in whole steps or pieces
                every other limit of the recipe

If nothing keeps the limits: what is in the way, the nearest ratio still reachable, and what would do -
more servings from the same batch (less per serving), more of a fat than the recipe allows, or both.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.dish.status import Weight
from ratio_solver.errors import BadInput, Fault, collected
from ratio_solver.exact import exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.recipe.change import fixed, planned
from ratio_solver.recipe.find import place_named
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.solving.result import Answer, Impossible, Proposal
from ratio_solver.solving.solve import solve
from ratio_solver.tools.adjust.remedies import Remedy, remedies_for


@dataclass(frozen=True)
class Adjustment:
    """A dish solved again around what is in the bowl.

    Attributes
    ----------
    recipe : Recipe
        As written.
    plan : tuple of Fraction, one per ingredient
        The weights solved before anything was weighed, g.
    planned : bool
        False where the recipe has no answer as written: the plan then is its starts.
    weighed, added : mapping of str to Fraction
        Label to grams in the bowl: as the scale said, and what can only be added to.
    answer : Proposal or Impossible
        With the plan as starts.
    remedies : tuple of Remedy
        When impossible: what would do, most modest first.
    """

    recipe: Recipe
    plan: tuple[Fraction, ...]
    planned: bool
    weighed: Mapping[str, Fraction]
    added: Mapping[str, Fraction]
    answer: Answer
    remedies: tuple[Remedy, ...]

    @property
    def bowl(self) -> Recipe | None:
        """The adjusted dish with every weight fixed, or None where there is none."""
        if not isinstance(self.answer, Proposal):
            return None
        return fixed(self.answer.recipe, tuple(weight.grams for weight in self.answer.weights))

    def remedy(self, number: int | None) -> Remedy | None:
        """The remedy of this number, counted from 1; None where none is asked for or none is needed.

        Raises
        ------
        BadInput
            Where there is no remedy of this number.
        """
        if number is None or isinstance(self.answer, Proposal):
            return None
        if number > len(self.remedies):
            raise BadInput([Fault("--take", "", str(number), f"expected one of the {len(self.remedies)} remedies")])
        return self.remedies[number - 1]

    def weights(self, taken: Remedy | None = None) -> tuple[Weight, ...]:
        """Weights of the adjusted dish, or of a remedy taken; none where there are none."""
        proposal = taken.proposal if taken else self.answer
        return proposal.weights if isinstance(proposal, Proposal) else ()


def adjust(recipe: Recipe, weighed: Mapping[str, float | None], added: Mapping[str, float | None] | None = None, *,
           guaranteed: Guaranteed = None) -> Adjustment:
    """Solve the rest of a dish around what is already in the bowl.

    Parameters
    ----------
    recipe : Recipe
    weighed : mapping of str to float
        Ingredient (label, food or a part of either that fits one) to the grams the scale said: fixed.
    added : mapping of str to float or None, optional
        Ingredient to the grams that are in the bowl and may only be added to; None: the planned weight is.
    guaranteed : {"mean", "food"}, optional
        Keep the targets for every composition within the table's intervals.

    Raises
    ------
    BadInput
        With every name that fits no ingredient or several, every weight out of range, and every ingredient
        that is named twice.
    """
    said = _by_place(recipe, weighed, added or {})
    first = solve(recipe, guaranteed=guaranteed)
    plan = _weights(first) if isinstance(first, Proposal) else tuple(map(_start, recipe.ingredients))
    in_bowl = {place: plan[place] if grams is None else exact(grams) for place, (_, grams) in said.items()}
    bowl = _bowl(planned(recipe, plan), said, in_bowl)
    answer = solve(bowl, guaranteed=guaranteed)
    labels = [ingredient.label for ingredient in recipe.ingredients]
    ways = remedies_for(bowl, recipe, answer.diagnosis.conflict, guaranteed) \
        if isinstance(answer, Impossible) else ()
    return Adjustment(
        recipe, plan, isinstance(first, Proposal),
        {labels[place]: in_bowl[place] for place, (how, _) in said.items() if how == "--weighed"},
        {labels[place]: in_bowl[place] for place, (how, _) in said.items() if how == "--added"},
        answer, ways,
    )


def _by_place(recipe: Recipe, weighed: Mapping[str, float | None],
              added: Mapping[str, float | None]) -> dict[int, tuple[str, float | None]]:
    """Place of each ingredient that is in the bowl, the option that says so, and the grams."""
    faults: list[Fault] = []
    found: dict[int, tuple[str, float | None]] = {}
    given: list[tuple[str, str, float | None]] = [("--weighed", name, grams) for name, grams in weighed.items()]
    given += [("--added", name, grams) for name, grams in added.items()]
    for how, name, grams in given:
        place = place_named(name, recipe, how, faults)
        if grams is not None and not 0 <= grams <= HEAVIEST:
            faults.append(Fault(how, name, f"{grams:g}", f"expected a weight in g, 0 to {HEAVIEST:,.0f}"))
        if place is None:
            continue
        if place in found:
            faults.append(Fault(how, name, "", f"expected {recipe.ingredients[place].label} once"))
        found[place] = how, grams
    collected(faults)
    return found


def _weights(proposal: Proposal) -> tuple[Fraction, ...]:
    return tuple(weight.grams for weight in proposal.weights)


def _start(ingredient: Ingredient) -> Fraction:
    """The start, within the bounds."""
    start = exact(ingredient.start)
    if ingredient.minimum is None or ingredient.maximum is None:
        return start
    return min(max(start, exact(ingredient.minimum)), exact(ingredient.maximum))


def _bowl(recipe: Recipe, said: Mapping[int, tuple[str, float | None]], in_bowl: Mapping[int, Fraction]) -> Recipe:
    """The recipe with what was weighed fixed, and what can only be added to bounded from below."""
    items = list(recipe.ingredients)
    for place, (how, _) in said.items():
        grams = float(in_bowl[place])
        item = replace(items[place], in_bowl=grams)
        items[place] = _only_more(item, grams) if how == "--added" else \
            replace(item, start=grams, minimum=None, maximum=None)
    return replace(recipe, ingredients=tuple(items))


def _only_more(ingredient: Ingredient, grams: float) -> Ingredient:
    """At least what is in the bowl; the recipe's own bounds give way where the bowl is past them."""
    start = max(ingredient.start, grams)
    if ingredient.minimum is None or ingredient.maximum is None or grams >= ingredient.maximum:
        return replace(ingredient, start=start if ingredient.maximum is None else grams, minimum=None, maximum=None)
    return replace(ingredient, start=start, minimum=max(ingredient.minimum, grams))
