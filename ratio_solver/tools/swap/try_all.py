"""Every food of a role in the place of an ingredient, the best first.

A linear programme says of each food the least objective that it can have (exactly: the bound of the multipliers,
raised to what the objective is a multiple of). In the rising order of these bounds the foods are solved, until none
that is left can come before those that are wanted. The order is that of solving all of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.dish.addition import BEYOND
from ratio_solver.dish.check import Check, check
from ratio_solver.dish.most import most_of
from ratio_solver.errors import BadInput, Fault, collected, shown
from ratio_solver.exact import Vector, exact
from ratio_solver.foods.food import Food
from ratio_solver.foods.table import FoodTable, suggestion
from ratio_solver.lp.search import raised, rounded_point
from ratio_solver.lp.solve import branched
from ratio_solver.recipe.find import place_named
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.solving.formulation import Formulation, formulate
from ratio_solver.solving.infeasible.conflict import bounded_model, feasible
from ratio_solver.solving.result import Proposal
from ratio_solver.solving.scale_steps import feasible_on_steps, steps_of, whole_model, whole_of
from ratio_solver.solving.solve import solve
from ratio_solver.tools.swap.compute import CARRIED, Side, adjustable, side_of, swapped

SOLVED, KEEPS, WOULD_DO = "solved", "keeps every limit", "would do"
OUTCOMES = (SOLVED, KEEPS, WOULD_DO, "breaks a limit", BEYOND, "impossible", "cannot be tried")
"""From the best to the worst."""

NOISE = Fraction(1, 10**6)
"""By how much, relative, weights between the steps may undercut their bound."""


@dataclass(frozen=True)
class Trial:
    """One food in the place of an ingredient.

    Attributes
    ----------
    food : Food
    side : Proposal, Check or None
        None where no weights satisfy the limits, where it cannot be tried, or where it was not solved to the end.
    outcome : str
        One of `OUTCOMES`. "would do": there are weights, but none that come before those of the foods that were wanted.
    reason : str
        Why it cannot be tried; what of it a serving would hold beyond what a person may eat; within how much of it
        there are no weights.
    """

    food: Food
    side: Proposal | Check | None
    outcome: str
    reason: str = ""

    @property
    def does(self) -> bool:
        """Whether weights with it keep every limit."""
        return self.outcome in (SOLVED, KEEPS, WOULD_DO)

    def left_out(self, place: int) -> bool:
        """Whether the best weights use none of it, at this place of the recipe."""
        return isinstance(self.side, Proposal) and not self.side.weights[place].grams


@dataclass(frozen=True)
class Trials:
    """Every food of a role in the place of an ingredient, the best first; `before` is the dish as it was."""

    old: Ingredient
    role: str
    by: str
    before: Side
    trials: tuple[Trial, ...]

    @property
    def place(self) -> int:
        """Place in the recipe of the ingredient that is replaced."""
        return [i.label for i in self.before.recipe.ingredients].index(self.old.label)


@dataclass(frozen=True)
class _Screened:
    """A food with which the linear programme has an answer, and a bound on its objective."""

    turn: int
    food: Food
    place: int
    formulation: Formulation
    bound: Fraction
    within: str


def try_all(recipe: Recipe, foods: FoodTable, old: str, role: str, by: str = "weight",
            prefer: str = "closest", *, most: int | None = None, **how: bool) -> Trials:
    """Every food of a role in the place of an ingredient, the least objective first, impossible ones last.

    Of each no more is used than a serving may hold. A dish without adjustable ingredients is judged as written: those
    that keep every limit first, then by net carbs. Parameters and faults as in `swap`.

    Parameters
    ----------
    most : int, optional
        Only so many of the best are wanted: of the others it is only said whether they would do. All unless given.
    """
    foods = foods.with_tables(recipe.tables)
    place, candidates = _asked(recipe, foods, old, role, by)
    ingredient = recipe.ingredients[place]
    trials: list[Trial] = []
    screened: list[_Screened] = []
    for turn, food in enumerate(food for food in candidates if food.id != ingredient.food.id):
        found = _screen(recipe, foods, ingredient, food, turn, by, prefer, how)
        if isinstance(found, Trial):
            trials.append(found)
        else:
            screened.append(found)
    trials = [*trials, *_settled(screened, prefer, most, how)]
    turns = {food.id: turn for turn, food in enumerate(candidates)}
    ranked = sorted(trials, key=lambda trial: (*_rank(trial), turns[trial.food.id]))
    return Trials(ingredient, role, by, side_of(recipe, prefer, how), tuple(ranked))


def _asked(recipe: Recipe, foods: FoodTable, old: str, role: str, by: str) -> tuple[int, Sequence[Food]]:
    faults: list[Fault] = []
    place = place_named(old, recipe, "swap", faults)
    candidates = foods.with_role(role)
    if not candidates:
        roles = dict.fromkeys(food.role for food in foods if food.role)
        faults.append(Fault("--try-all", "", shown(role), "is the role of no food in the table"
                            + (suggestion(role, roles) or f"; expected one of {', '.join(roles)}")))
    if by not in CARRIED:
        faults.append(Fault("--by", "", shown(by), f"expected one of {', '.join(CARRIED)}"))
    collected(faults)
    assert place is not None
    return place, candidates


def _screen(recipe: Recipe, foods: FoodTable, old: Ingredient, food: Food, turn: int, by: str, prefer: str,
            how: Mapping[str, bool]) -> Trial | _Screened:
    """What is known of a food after one linear programme; without adjustable ingredients all is."""
    try:
        free, _ = swapped(recipe, foods, [(old.label, food.name)], by)
        place = recipe.ingredients.index(old)
        changed, within = _within_most(free, place)
        beyond = _beyond(changed, place, _lowest(changed), how)
        if beyond and not adjustable(changed):
            return Trial(food, None, BEYOND, beyond)
        if not adjustable(changed):
            side = check(changed, guaranteed=how.get("guaranteed", False))
            return Trial(food, side, KEEPS if side.kept else "breaks a limit")
        formulation = formulate(changed, prefer, guaranteed=how.get("guaranteed", False))
    except BadInput as bad:
        return Trial(food, None, "cannot be tried", "; ".join(fault.expected for fault in bad.faults))
    model = formulation.model
    relaxed = branched(model, model.whole_costs[:1], most=1)
    if relaxed.complete and relaxed.basis is None:
        return Trial(food, None, "impossible", within)
    if beyond:
        return Trial(food, None, BEYOND, beyond)
    bound = relaxed.bound
    if how.get("exact", False):
        bound -= NOISE * max(Fraction(1), abs(bound))
    else:
        bound = raised(bound, whole_model(formulation).grid(model.costs[0]))
    return _Screened(turn, food, place, formulation, bound + formulation.constant, within)


def _within_most(recipe: Recipe, place: int) -> tuple[Recipe, str]:
    """The recipe with no more of an ingredient than a serving may hold, and what to say where that is less."""
    items = list(recipe.ingredients)
    item = items[place]
    if item.food.most is None or item.maximum is None:
        return recipe, ""
    most = round(item.food.most * item.yield_ * recipe.servings, 6)
    if not (item.minimum or 0.0) <= most < item.maximum:
        return recipe, ""
    items[place] = replace(item, maximum=most)
    return replace(recipe, ingredients=tuple(items)), f"with at most {item.food.most:g} g of it in a serving"


def _lowest(recipe: Recipe) -> Vector:
    """The least that every ingredient may weigh, g."""
    return tuple(exact(item.start if item.minimum is None else item.minimum) for item in recipe.ingredients)


def _beyond(recipe: Recipe, place: int, weights: Vector, how: Mapping[str, bool]) -> str:
    """What of the food at a place, or by it, a serving holds beyond the most that a person may eat; else nothing."""
    without = (*weights[:place], Fraction(0), *weights[place + 1:])
    return "; ".join(most.told(recipe, weights) for most in most_of(recipe, guaranteed=how.get("guaranteed", False))
                     if most.limit.numerator[place] and most.passed(weights)
                     and (most.food or not most.passed(without)))


def _settled(screened: Sequence[_Screened], prefer: str, most: int | None, how: Mapping[str, bool]) -> Iterator[Trial]:
    """The foods solved in the rising order of their bounds, as far as one may be among the wanted."""
    best: list[tuple[Fraction, int]] = []
    for one in sorted(screened, key=lambda one: (one.bound, one.turn)):
        if most is not None and len(best) >= most and (one.bound, one.turn) > best[most - 1]:
            does = _does(one, how)
            yield Trial(one.food, None, WOULD_DO if does else "impossible", "" if does else one.within)
            continue
        # Whether there are weights at all is told at once: a diagnosis of each food without would take long.
        answer = solve(one.formulation.recipe, prefer, foods=None, **how) if _does(one, how) else None
        if not isinstance(answer, Proposal):
            yield Trial(one.food, None, "impossible", one.within)
        elif beyond := _beyond(answer.recipe, one.place, tuple(weight.grams for weight in answer.weights), how):
            yield Trial(one.food, None, BEYOND, beyond)
        else:
            best = sorted([*best, (answer.objective.value, one.turn)])
            yield Trial(one.food, answer, SOLVED)


def _does(one: _Screened, how: Mapping[str, bool]) -> bool:
    """Whether any weights keep the limits, on the steps unless those between them are wanted."""
    recipe, limits = one.formulation.recipe, one.formulation.limits
    if how.get("exact", False):
        return not one.formulation.model.stepped or feasible(recipe, list(limits))
    rows = [limit for limit in limits if limit.kind != "ingredient"]  # the bounds stay as those of the weights
    clear = rounded_point(whole_of(bounded_model(recipe, rows), steps_of(recipe)))
    return clear is not None or feasible_on_steps(recipe, list(limits))


def _rank(trial: Trial) -> tuple[int, Fraction]:
    order = OUTCOMES.index(trial.outcome)
    if isinstance(trial.side, Proposal):
        return order, trial.side.objective.value
    return order, trial.side.facts.amounts["net_carbs_g"] if trial.side is not None else Fraction(0)
