"""What fat to add to a recipe as it is written, so that it reaches its least ratio.

All ingredients stay at their start. With N and D the numerator and denominator of the ratio over the batch
(fat, and protein + net carbohydrate, g; other published formulas likewise) and n, d those of 1 g of the
fat, the least ratio R asks for

    (N + n g) / (D + d g) >= R     so     g = (R D - N) / (n - R d),

which has an answer where n > R d: a fat whose own ratio is not above R can never lift a dish to it. For
the net formula this is (R (P + N) - F) / (f - R (p + n)). All of it is exact (rationals). Every other limit that
an addition can change is such a row over the grams added: what it gains with each, and what it still misses.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.dish import notices
from ratio_solver.dish.cautions import cautions_for
from ratio_solver.dish.constraints import Identity
from ratio_solver.dish.most import BEYOND, BREAKS, KEEPS, beyond_with
from ratio_solver.dish.status import LimitState
from ratio_solver.errors import BadInput, Fault, collected
from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.foods.sizes import SMALLEST
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.mix import best_mix
from ratio_solver.outcome import Outcome
from ratio_solver.recipe.model import Recipe
from ratio_solver.tools.add_fat.addition import Addition

ROLE = "fat"
"""Role of the foods that are tried where none are named."""

UNJUDGED, CANNOT = "cannot be judged", "cannot reach it"
OUTCOMES = (KEEPS, BREAKS, BEYOND, UNJUDGED, CANNOT)
"""From the best to the worst."""


@dataclass(frozen=True)
class Candidate:
    """A fat, or a mix of two, that might be added.

    Attributes
    ----------
    foods : tuple of Food
    outcome : str
        One of `OUTCOMES`; judged by the weights on the scale.
    own_ratio : Fraction or None
        Ratio of the food by itself; None where it has neither protein nor carbohydrate, or for a mix.
    least : Addition or None
        To any fraction of a gram: reaches the ratio exactly.
    weighed : Addition or None
        Rounded up to the scale's step, and checked again; more where that is what keeps another limit.
    reason : str
        Why there is no addition, or why it is more than the ratio needs.
    brings : tuple of str
        Allergens that the dish as written does not have.
    beyond : tuple of str
        What a serving with it would hold beyond the most that a person may eat.
    lifts : frozenset of Identity
        The limits that come nearer to being kept with each gram of it; none where a figure is unknown that
        a maximum needs, as nothing that is added lowers what a serving holds.
    """

    foods: tuple[Food, ...]
    outcome: str
    own_ratio: Fraction | None = None
    least: Addition | None = None
    weighed: Addition | None = None
    reason: str = ""
    brings: tuple[str, ...] = ()
    beyond: tuple[str, ...] = ()
    lifts: frozenset[Identity] = frozenset()

    @property
    def name(self) -> str:
        """Its food, or both."""
        return " + ".join(food.name for food in self.foods)


@dataclass(frozen=True, repr=False)
class AddFat(Outcome):
    """What was found; its `outcome` is "solved" or "impossible".

    Attributes
    ----------
    recipe : Recipe
    ratio : Fraction
        The least ratio that is to be reached.
    step : Fraction
        Of the scale, g.
    written : Addition
        The recipe as written, nothing added.
    beyond : tuple of LimitState
        Limits broken as written that none of the foods tried lifts, however much of it is added.
    candidates : tuple of Candidate
        The best first: those that keep every limit by grams, then those that break one, then the others.
    mix : Candidate or None
        The mix of two that needs the fewest grams, where no fat alone keeps every limit.
    allergens, allergens_unknown : tuple of str
        Of the dish as written; and the labels of the ingredients whose allergens are not known.
    not_offered : tuple of Candidate
        Fats of the table that would reach the ratio, but of which a serving would hold more than a person may eat.
    """

    recipe: Recipe
    ratio: Fraction
    step: Fraction
    written: Addition
    beyond: tuple[LimitState, ...]
    candidates: tuple[Candidate, ...]
    mix: Candidate | None
    allergens: tuple[str, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    guaranteed: Guaranteed = None
    allergens_unknown: tuple[str, ...] = ()
    not_offered: tuple[Candidate, ...] = ()

    reported_in = "tools.add_fat.report"

    @property
    def outcome(self) -> str:
        """Whether a fat or a mix of two keeps every limit, in a word."""
        return "solved" if self.solved else "impossible"

    @property
    def reached(self) -> bool:
        """Whether the recipe as written has the ratio already."""
        return not any(state.limit.least_ratio for state in self.written.broken)

    @property
    def best(self) -> Candidate | None:
        """The candidate or mix that keeps every limit with the fewest grams."""
        return next(iter(self.having(KEEPS)), self.mix)

    @property
    def mendable(self) -> bool:
        """Whether adding more than the ratio needs may lift a limit that is broken as written."""
        return any(state not in self.beyond for state in self.written.broken)

    def broken_by(self, addition: Addition) -> tuple[LimitState, ...]:
        """The limits that an addition breaks or leaves broken, without those broken whatever is added."""
        beyond = {state.limit.identity for state in self.beyond}
        return tuple(state for state in addition.broken if state.limit.identity not in beyond)

    def having(self, outcome: str) -> list[Candidate]:
        """The candidates of an outcome, the best first."""
        return [candidate for candidate in self.candidates if candidate.outcome == outcome]

    @property
    def unjudged(self) -> bool:
        """Whether a figure that a limit needs is unknown for every fat, so that nothing can be said of any."""
        return bool(self.candidates) and self.having(UNJUDGED) == list(self.candidates)

    @property
    def solved(self) -> bool:
        """Whether a fat or a mix of two keeps every limit on the scale, those beyond reach set aside."""
        return self.best is not None and self.best.outcome == KEEPS


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

    Returns
    -------
    AddFat

    Raises
    ------
    BadInput
        Where the recipe has no least ratio, a name is unknown, or a figure that a limit needs is.

    Examples
    --------
    >>> from ratio_solver import add_fat, load_foods, recipe_from
    >>> foods = load_foods()
    >>> dip = recipe_from({"title": "Dip", "servings": 2, "targets": {"ratio": 3},
    ...                    "ingredients": [{"food": "sour cream", "grams": 100}]}, foods)
    >>> found = add_fat(dip, foods, ["olive oil"])
    >>> f"{float(found.best.weighed.total):.0f} g of {found.best.name}"
    '2 g of olive oil'
    """
    tried = _foods_to_try(foods.with_tables(recipe.tables), names)
    written = Addition.of(recipe, (), guaranteed)
    target = next((limit for limit in written.asked if limit.least_ratio), None)
    faults = [] if target else [Fault(recipe.source, "targets.ratio", "",
                                      "expected a least ratio to reach (or --ratio)")]
    if not (math.isfinite(step) and SMALLEST <= step <= 1000):
        faults.append(Fault("--step", "", f"{step:g}", "expected a step in g, above 0 and at most 1000"))
    collected(faults)
    assert target is not None
    size = exact(step)
    ranked = sorted((_candidate(recipe, food, size, guaranteed) for food in tried), key=_candidate_rank)
    lifted = {target.identity}.union(*(candidate.lifts for candidate in ranked))
    not_offered = () if names else tuple(candidate for candidate in ranked if candidate.outcome == BEYOND)
    candidates = tuple(candidate for candidate in ranked if candidate not in not_offered)
    mix = None
    if all(candidate.outcome != KEEPS for candidate in candidates):
        mix = _mix(recipe, [c.foods[0] for c in ranked if c.outcome != UNJUDGED], size, guaranteed)
    served = [addition.facts for candidate in (*candidates, mix) if candidate
              for addition in (candidate.least, candidate.weighed) if addition]
    return AddFat(
        recipe, target.bound, size, written,
        tuple(state for state in written.limits
              if state.limit.margin(written.starts) < 0 and state.limit.identity not in lifted),
        candidates, mix,
        notices.allergens(recipe, written.starts),
        notices.warnings(recipe, written.starts, guaranteed=guaranteed, added=tried),
        cautions_for(recipe, written.facts, *served), guaranteed,
        notices.allergens_unknown(recipe, written.starts), not_offered,
    )


def _foods_to_try(foods: FoodTable, names: Sequence[str]) -> tuple[Food, ...]:
    """The foods to try, each once."""
    found = {name: foods.find(name) for name in names}
    faults = [Fault("--with", "", repr(name), foods.unknown(name)) for name in names if found[name] is None]
    if not names and not foods.with_role(ROLE):
        faults.append(Fault("foods", "role", "", f"expected at least one food of role {ROLE} in the table"))
    collected(faults)
    return tuple({food.id.lower(): food for food in found.values() if food}.values()) or foods.with_role(ROLE)


def _candidate(recipe: Recipe, food: Food, step: Fraction, guaranteed: Guaranteed) -> Candidate:
    """One fat alone: the closed form, then the same rounded up to the scale's step."""
    brings = _brings(recipe, [food])
    try:
        grown = Addition.of(recipe, [food], guaranteed)
    except BadInput as unknown:
        why = "; ".join(fault.expected.partition(", so a maximum")[0] for fault in unknown.faults)
        return Candidate((food,), UNJUDGED, reason=why, brings=brings)
    rows, target = grown.rows(), next(limit for limit in grown.asked if limit.least_ratio)
    n, d = target.numerator[-1], target.denominator[-1]
    found = Candidate((food,), CANNOT, n / d if d else None, brings=brings,
                      lifts=frozenset(identity for identity, ((gain,), _) in rows.items() if gain > 0))
    (gain,), missing = rows[target.identity]
    if missing > 0 and gain <= 0:
        return replace(found, reason="its own ratio is not above the one to be reached")
    need = max(ZERO, missing) / (gain or 1)
    least, weighed, why = grown.at((need,)), grown.at((_on_scale(need, step),)), ""
    if weighed.broken:
        enough = max([need, *(missing / gain for (gain,), missing in rows.values() if gain > 0)])
        more = grown.at((_on_scale(enough, step),))
        if not more.broken:
            names = ", ".join(state.limit.name for state in weighed.broken)
            weighed, why = more, f"more than the ratio needs, to keep {names}"
    beyond = beyond_with(recipe, [food], grown.starts, weighed.grams, guaranteed)
    return replace(found, outcome=BEYOND if beyond else BREAKS if weighed.broken else KEEPS,
                   least=least, weighed=weighed, reason=why, beyond=beyond)


def _on_scale(grams: Fraction, step: Fraction) -> Fraction:
    return math.ceil(grams / step) * step


def _mix(recipe: Recipe, foods: Sequence[Food], step: Fraction, guaranteed: Guaranteed) -> Candidate | None:
    """The mix of two with the fewest grams that keeps every limit an addition can change."""
    foods = [food for food in foods if _room(recipe, food)]
    grown = Addition.of(recipe, foods, guaranteed)
    found = best_mix([*grown.rows().values(), *grown.most_rows()], len(foods), step) if foods else None
    if found is None:
        return None
    pair = [foods[place] for place in found.places]
    both, whole = Addition.of(recipe, pair, guaranteed), found.weighed or tuple(_on_scale(g, step) for g in found.least)
    if beyond_with(recipe, pair, both.starts, whole, guaranteed):
        return None
    weighed = both.at(whole)
    return Candidate(tuple(pair), BREAKS if weighed.broken else KEEPS, None, both.at(found.least), weighed,
                     brings=_brings(recipe, pair))


def _room(recipe: Recipe, food: Food) -> bool:
    """Whether the dish as written has less of a food than a serving may hold."""
    held = sum((exact(item.start) / exact(item.yield_) for item in recipe.ingredients
                if item.food.id.lower() == food.id.lower()), ZERO)
    return food.most is None or held < exact(food.most) * recipe.servings


def _brings(recipe: Recipe, foods: Sequence[Food]) -> tuple[str, ...]:
    """Allergens that foods bring to the dish as written; that they are not known where they are not."""
    have = notices.allergens(recipe, tuple(map(exact, recipe.starts)))
    known = sorted({a for food in foods for a in food.allergens or ()} - set(have))
    if any(food.allergens_unknown for food in foods):
        known.append(f"others {notices.NOT_KNOWN}" if known else notices.NOT_KNOWN)
    return tuple(known)


def _candidate_rank(candidate: Candidate) -> tuple[int, int, Fraction]:
    """Sort key: what it keeps, how many limits it breaks, grams."""
    broken = len(candidate.weighed.broken) if candidate.weighed else 0
    needed = candidate.weighed if candidate.reason else candidate.least  # more than the ratio needs: so much
    return OUTCOMES.index(candidate.outcome), broken, needed.total if needed else ZERO
