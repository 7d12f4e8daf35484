"""What fat to add to a recipe as it is written, so that it reaches its least ratio.

All ingredients stay at their start. With N and D the numerator and denominator of the ratio over the batch
(fat, and protein + net carbohydrate, g; other published formulas likewise) and n, d those of 1 g of the
fat, the least ratio R asks for

    (N + n g) / (D + d g) >= R     so     g = (R D - N) / (n - R d),

which has an answer where n > R d: a fat whose own ratio is not above R can never lift a dish to it. For
the net formula this is (R (P + N) - F) / (f - R (p + n)). All of it is exact (rationals).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from ratio_solver.dish import notices
from ratio_solver.dish.addition import BEYOND, beyond_with, is_batch, most_of_added, with_added
from ratio_solver.dish.constraints import MORE, Limit, limits_of
from ratio_solver.dish.most import most_of
from ratio_solver.dish.nutrition import facts_of
from ratio_solver.dish.status import state_of
from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ZERO, Vector, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.foods.sizes import SMALLEST
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.mix import best_mix
from ratio_solver.recipe.model import RATIO, Recipe
from ratio_solver.tools.add_fat.model import BREAKS, CANNOT, KEEPS, OUTCOMES, UNKNOWN, AddFat, Addition, Candidate

ROLE = "fat"
"""Role of the foods that are tried where none are named."""


def add_fat(recipe: Recipe, foods: FoodTable, names: Sequence[str] = (), *, step: float = 1.0,
            guaranteed: Guaranteed = None) -> AddFat:
    """Fats that lift a recipe as written to its least ratio, the best first.

    Parameters
    ----------
    recipe : Recipe
        With a least ratio among its targets. Nothing in it is moved, adjustable or not.
    foods : FoodTable
    names : sequence of str
        Foods to try; the table's foods of role "fat" where none are named, but none of which a serving would hold more
        than a person may eat.
    step : float
        Of the scale, g: the second figure of each candidate is a multiple of it.
    guaranteed : {"mean", "food"}, optional
        Judge by the safe-side ends of the table's intervals.

    Raises
    ------
    BadInput
        Where the recipe has no least ratio, a name is unknown, or a figure that a limit needs is.
    """
    tried = _foods(foods.with_tables(recipe.tables), names)
    limits = limits_of(recipe, guaranteed)
    target = next((limit for limit in limits if limit.key == (RATIO, MORE)), None)
    faults = [] if target else [Fault(recipe.source, "targets.ratio", "",
                                      "expected a least ratio to reach (or --ratio)")]
    if not (math.isfinite(step) and SMALLEST <= step <= 1000):
        faults.append(Fault("--step", "", f"{step:g}", "expected a step in g, above 0 and at most 1000"))
    if faults or target is None:
        raise BadInput(faults)
    starts = _starts(recipe)
    written = _addition(recipe, (), (), guaranteed)
    mended = {(RATIO, MORE)}.union(*(_mended(recipe, food, guaranteed) for food in tried))
    beyond = tuple(state for state in written.limits
                   if state.limit.margin(starts) < 0 and state.limit.key not in mended)
    ranked = sorted((_candidate(recipe, food, exact(step), guaranteed) for food in tried), key=_rank)
    not_offered = () if names else tuple(candidate for candidate in ranked if candidate.outcome == BEYOND)
    candidates = [candidate for candidate in ranked if candidate not in not_offered]
    mix = None
    if not any(candidate.outcome == KEEPS for candidate in candidates):
        mix = _mix(recipe, [c.foods[0] for c in ranked if c.outcome != UNKNOWN], exact(step), guaranteed)
    told = [addition.facts for candidate in (*candidates, mix) if candidate
            for addition in (candidate.least, candidate.weighed) if addition]
    return AddFat(
        recipe, target.bound, exact(step), written, beyond, tuple(candidates), mix,
        notices.allergens(recipe, starts), notices.warnings(recipe, starts, guaranteed=guaranteed, added=tried),
        notices.cautions(recipe, written.facts, *told), guaranteed, notices.allergens_unknown(recipe, starts),
        not_offered,
    )


def _foods(foods: FoodTable, names: Sequence[str]) -> tuple[Food, ...]:
    faults, found = [], []
    for name in names:
        food = foods.find(name)
        if food is None:
            faults.append(Fault("--with", "", repr(name), foods.unknown(name)))
        else:
            found.append(food)
    if not names and not foods.with_role(ROLE):
        faults.append(Fault("foods", "role", "", f"expected at least one food of role {ROLE} in the table"))
    if faults:
        raise BadInput(faults)
    return tuple({food.id.lower(): food for food in found}.values()) or foods.with_role(ROLE)


def _starts(recipe: Recipe) -> Vector:
    return tuple(exact(start) for start in recipe.starts)


def _concerned(limit: Limit, recipe: Recipe) -> bool:
    """Whether something added to the batch can change a limit: a target, or a share of the batch."""
    shares = {f"{share.of_name} in {share.to_name}" for share in recipe.proportions
              if is_batch(share.of_name) or is_batch(share.to_name)}
    return limit.kind == "target" or (limit.kind == "proportion" and limit.name in shares)


def _addition(recipe: Recipe, foods: Sequence[Food], grams: Vector, guaranteed: Guaranteed) -> Addition:
    grown = with_added(recipe, foods)
    weights = (*_starts(recipe), *grams)
    limits = limits_of(grown, guaranteed)
    states = tuple(state_of(limit, weights) for limit in limits)
    broken = tuple(state for state in states
                   if state.limit.margin(weights) < 0 and _concerned(state.limit, grown))
    return Addition(grams, facts_of(grown, weights), states, broken)


def _candidate(recipe: Recipe, food: Food, step: Fraction, guaranteed: Guaranteed) -> Candidate:
    """One fat alone: the closed form, then the same rounded up to the scale's step."""
    try:
        limits = limits_of(with_added(recipe, [food]), guaranteed)
    except BadInput as unknown:
        return Candidate((food,), UNKNOWN, None, None, None, _without_place(unknown), _brings(recipe, [food]))
    target = next(limit for limit in limits if limit.key == (RATIO, MORE))
    n, d = target.numerator[-1], target.denominator[-1]
    own = n / d if d else None
    need = grams_needed(target, _starts(recipe))
    if need is None:
        return Candidate((food,), CANNOT, own, None, None, "its own ratio is not above the one to be reached",
                         _brings(recipe, [food]))
    least = _addition(recipe, [food], (need,), guaranteed)
    weighed = _addition(recipe, [food], (_rounded_up(need, step),), guaranteed)
    why = ""
    if weighed.broken:
        more = _addition(recipe, [food], (_rounded_up(_enough(recipe, food, need, guaranteed), step),), guaranteed)
        if not more.broken:
            names = ", ".join(state.limit.name for state in weighed.broken)
            weighed, why = more, f"more than the ratio needs, to keep {names}"
    beyond = beyond_with(recipe, [food], _starts(recipe), weighed.grams, guaranteed)
    outcome = BEYOND if beyond else BREAKS if weighed.broken else KEEPS
    return Candidate((food,), outcome, own, least, weighed, why, _brings(recipe, [food]), beyond)


def _rounded_up(grams: Fraction, step: Fraction) -> Fraction:
    return math.ceil(grams / step) * step


def _enough(recipe: Recipe, food: Food, need: Fraction, guaranteed: Guaranteed) -> Fraction:
    """Grams that lift every limit which more of the food can lift, at least `need`."""
    grams = need
    for (gain,), missing in _rows(recipe, [food], guaranteed):
        if gain > 0:
            grams = max(grams, missing / gain)
    return grams


def _mended(recipe: Recipe, food: Food, guaranteed: Guaranteed) -> set[tuple[str, str]]:
    """Keys of the limits that come nearer to being kept with each gram of a food; of the ratio nothing is said.

    Where a figure is unknown that a maximum needs there are none: nothing that is added lowers what a serving holds.
    """
    grown = with_added(recipe, [food])
    try:
        limits = limits_of(grown, guaranteed)
    except BadInput:
        return set()
    return {limit.key for limit in limits if _concerned(limit, grown)
            and (limit.row()[0][-1] > 0) == (limit.sense == MORE) and limit.row()[0][-1]}


def _rows(recipe: Recipe, foods: Sequence[Food], guaranteed: Guaranteed) -> list[tuple[Vector, Fraction]]:
    """Limits that an addition can change as rows over its grams: gain per g, and what they must come to."""
    grown = with_added(recipe, foods)
    return _over_grams([limit for limit in limits_of(grown, guaranteed) if _concerned(limit, grown)], recipe, foods)


def _over_grams(limits: Sequence[Limit], recipe: Recipe, foods: Sequence[Food]) -> list[tuple[Vector, Fraction]]:
    starts = (*_starts(recipe), *[ZERO] * len(foods))
    rows = []
    for limit in limits:
        sign = 1 if limit.sense == MORE else -1
        coefficients, _ = limit.row()
        rows.append((tuple(sign * c for c in coefficients[-len(foods):]), -limit.margin(starts)))
    return rows


def _most_rows(recipe: Recipe, foods: Sequence[Food], guaranteed: Guaranteed) -> list[tuple[Vector, Fraction]]:
    """The same for what a person may eat; without what the dish as written is beyond by itself."""
    added = most_of_added(with_added(recipe, foods), len(foods), guaranteed)
    return [row for row in _over_grams([most.limit for most in added], recipe, foods) if row[1] <= 0]


def grams_needed(ratio: Limit, weights: Vector) -> Fraction | None:
    """Grams of the last ingredient of a ratio limit that bring the others (g) to it; None where none do.

    The closed form at the head of this module.
    """
    short = -ratio.margin((*weights, ZERO))
    if short <= 0:
        return ZERO
    gain = ratio.numerator[-1] - ratio.bound * ratio.denominator[-1]
    return short / gain if gain > 0 else None


def _mix(recipe: Recipe, foods: Sequence[Food], step: Fraction, guaranteed: Guaranteed) -> Candidate | None:
    """The mix of two with the fewest grams that keeps every limit an addition can change."""
    foods = [food for food in foods if food.most is None or _room(recipe, food)]
    rows = [*_rows(recipe, foods, guaranteed), *_most_rows(recipe, foods, guaranteed)] if foods else []
    found = best_mix(rows, len(foods), step)
    if found is None:
        return None
    pair = [foods[place] for place in found.places]
    least = _addition(recipe, pair, found.least, guaranteed)
    whole = found.weighed or tuple(_rounded_up(g, step) for g in found.least)
    weighed = _addition(recipe, pair, whole, guaranteed)
    if beyond_with(recipe, pair, _starts(recipe), whole, guaranteed):
        return None
    return Candidate(tuple(pair), BREAKS if weighed.broken else KEEPS, None, least, weighed,
                     brings=_brings(recipe, pair))


def _room(recipe: Recipe, food: Food) -> bool:
    """Whether the dish as written has less of a food than a serving may hold."""
    own = next(most for most in most_of(with_added(recipe, [food])) if most.food and most.limit.numerator[-1])
    return own.limit.margin((*_starts(recipe), ZERO)) > 0


def _brings(recipe: Recipe, foods: Sequence[Food]) -> tuple[str, ...]:
    have = notices.allergens(recipe, _starts(recipe))
    known = sorted({a for food in foods for a in food.allergens or ()} - set(have))
    unknown = any(food.allergens_unknown for food in foods)
    return (*known, *((f"others {notices.NOT_KNOWN}" if known else notices.NOT_KNOWN,) if unknown else ()))


def _without_place(bad: BadInput) -> str:
    """What a limit needs to know of a food, in one line."""
    return "; ".join(fault.expected.partition(", so a maximum")[0] for fault in bad.faults)


def _rank(candidate: Candidate) -> tuple[int, int, Fraction]:
    """Sort key: what it keeps, how many limits it breaks, grams."""
    broken = len(candidate.weighed.broken) if candidate.weighed else 0
    needed = candidate.weighed if candidate.reason else candidate.least  # more than the ratio needs: so much
    return OUTCOMES.index(candidate.outcome), broken, needed.total if needed else ZERO
