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

from ratio_solver.dish.cautions import strongest
from ratio_solver.errors import BadInput, Fault, collected
from ratio_solver.exact import exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.lp.clock import limited, share
from ratio_solver.outcome import Outcome
from ratio_solver.recipe.change import fixed, planned
from ratio_solver.recipe.find import place_named
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.solving.result import Answer, Impossible, Proposal
from ratio_solver.solving.solve import solve, weights_for
from ratio_solver.tools.adjust.remedies import Remedy, remedies_for

WEIGHED, ADDED = "--weighed", "--added"

PARTS_OF_TIME = 3
"""The plan, and then the bowl, may each take one of so many parts of the time that is left."""


@dataclass(frozen=True, repr=False)
class Adjustment(Outcome):
    """A dish solved again around what is in the bowl; its `outcome` is that of the remedy taken, else of the answer.

    Attributes
    ----------
    recipe : Recipe
        As written.
    plan : tuple of Fraction, one per ingredient
        The weights solved before anything was weighed, g.
    planned : bool
        False where the recipe has no answer as written, or none was found in the time: the plan then is its starts.
    weighed, added : mapping of str to Fraction
        Label to grams in the bowl: as the scale said, and what can only be added to.
    answer : Proposal or Impossible
        With the plan as starts.
    remedies : tuple of Remedy
        When impossible: what would do, most modest first.
    unfinished : bool
        Whether the time was up before every way out was tried.
    taken : Remedy or None
        The one that was chosen.
    """

    recipe: Recipe
    plan: tuple[Fraction, ...]
    planned: bool
    weighed: Mapping[str, Fraction]
    added: Mapping[str, Fraction]
    answer: Answer
    remedies: tuple[Remedy, ...]
    unfinished: bool = False
    taken: Remedy | None = None

    reported_in = "tools.adjust.report"

    @property
    def outcome(self) -> str:
        """"solved", "impossible" or "undecided"."""
        return self.result.outcome

    @property
    def result(self) -> Answer:
        """The answer, or the dish of the remedy that was taken."""
        return self.taken.proposal if self.taken else self.answer

    @property
    def beside_tradition(self) -> Answer:
        """The result, whose starts are those of the recipe as written in place of the plan's; 0 of what was added."""
        if isinstance(self.result, Impossible):
            return self.result
        starts = {item.label: item.start for item in self.recipe.ingredients}
        dish = self.result.recipe
        return replace(self.result, recipe=replace(dish, ingredients=tuple(
            replace(item, start=starts.get(item.label, 0.0)) for item in dish.ingredients)))

    @property
    def cautions(self) -> tuple[str, ...]:
        """What goes with the ratios that are stated."""
        return strongest([self.result.cautions, *(remedy.proposal.cautions for remedy in self.remedies)])

    @property
    def bowl(self) -> Recipe | None:
        """The adjusted dish with every weight fixed, or None where there is none."""
        return fixed(self.result.recipe, self.result.grams_of_each) if isinstance(self.result, Proposal) else None

    def take(self, number: int | None) -> Adjustment:
        """The same with the remedy of this number, counted from 1; as it is where none is asked for or needed.

        Raises
        ------
        BadInput
            Where there is no remedy of this number.
        """
        if number is None or isinstance(self.answer, Proposal):
            return self
        if number > len(self.remedies):
            raise BadInput([Fault("--take", "", str(number), f"expected one of the {len(self.remedies)} remedies")])
        return replace(self, taken=self.remedies[number - 1])


def adjust(recipe: Recipe, weighed: Mapping[str, float | None], added: Mapping[str, float | None] | None = None, *,
           guaranteed: Guaranteed = None, time_limit: float | None = None) -> Adjustment:
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
    time_limit : float, optional
        Seconds for all of it, 5 unless said; what they cut short is said.

    Returns
    -------
    Adjustment

    Raises
    ------
    BadInput
        With every name that fits no ingredient or several, every weight out of range, and every ingredient
        that is named twice.

    Examples
    --------
    >>> from ratio_solver import adjust, load_foods, read_recipe
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> found = adjust(gratin, {"cream": 480})
    >>> found.outcome, f"{found.result.weights_g['butter']:.0f} g of butter"
    ('solved', '45 g of butter')
    """
    said = _said_of_bowl(recipe, {WEIGHED: weighed, ADDED: added or {}})
    with limited(time_limit):
        with share(PARTS_OF_TIME):
            first = weights_for(recipe, guaranteed=guaranteed)
        plan = tuple(map(_start, recipe.ingredients)) if first is None else first.grams_of_each
        inside = {place: plan[place] if grams is None else exact(grams) for place, (_, grams) in said.items()}
        bowl = planned(recipe, plan)
        bowl = replace(bowl, ingredients=tuple(
            _in_bowl(item, float(inside[place]), said[place][0]) if place in said else item
            for place, item in enumerate(bowl.ingredients)))
        with share(PARTS_OF_TIME):
            answer = solve(bowl, guaranteed=guaranteed)
        ways, unfinished = remedies_for(bowl, recipe, answer.diagnosis.conflict, guaranteed) \
            if isinstance(answer, Impossible) else ((), False)
        fixed_, more = ({recipe.ingredients[place].label: inside[place] for place, (how, _) in said.items()
                         if how == one} for one in (WEIGHED, ADDED))
        return Adjustment(recipe, plan, first is not None, fixed_, more, answer, ways, unfinished)


def _said_of_bowl(recipe: Recipe,
                  given: Mapping[str, Mapping[str, float | None]]) -> dict[int, tuple[str, float | None]]:
    """Place of each ingredient that is in the bowl, the option that says so, and the grams."""
    faults: list[Fault] = []
    found: dict[int, tuple[str, float | None]] = {}
    for how, name, grams in ((how, *entry) for how, named in given.items() for entry in named.items()):
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


def _start(ingredient: Ingredient) -> Fraction:
    """The start, within the bounds."""
    start = exact(ingredient.start)
    if ingredient.minimum is None or ingredient.maximum is None:
        return start
    return min(max(start, exact(ingredient.minimum)), exact(ingredient.maximum))


def _in_bowl(item: Ingredient, grams: float, how: str) -> Ingredient:
    """An ingredient that is in the bowl: fixed where it was weighed, else bounded from below.

    The recipe's own bounds give way where the bowl is past them.
    """
    held = replace(item, in_bowl=grams, start=grams, minimum=None, maximum=None)
    if how == WEIGHED:
        return held
    start = max(item.start, grams)
    if item.minimum is None or item.maximum is None:
        return replace(held, start=start)
    return held if grams >= item.maximum else \
        replace(item, in_bowl=grams, start=start, minimum=max(item.minimum, grams))
