"""What would do for a bowl that cannot keep the limits: more servings, more of a fat, another ratio."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.dish.composition import per_gram
from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.recipe.change import fixed, with_servings
from ratio_solver.recipe.model import RATIO, Recipe
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.solving.infeasible.conflict import feasible
from ratio_solver.solving.result import Proposal
from ratio_solver.solving.solve import attempt
from ratio_solver.tools.adjust.nearest import eased, nearest

MOST_SERVINGS = 3
"""More servings are tried up to so many times the recipe's."""

EASED = ("target", "part", "proportion")
"""Kinds of limits that may be eased: an ingredient's own bounds and choices stay."""

FATTY = Fraction(7, 10)
"""A food is a fat to correct with when it is at least so much fat.

It may go beyond its maximum by half of that or a tenth of the batch, whichever is more: further it is no longer the
dish, and a fat that is used for the little protein in it is no remedy.
"""


@dataclass(frozen=True)
class Remedy:
    """A way out of a bowl that cannot keep the limits.

    Attributes
    ----------
    proposal : Proposal
        The dish so made.
    servings : int or None
        Servings to make of the batch, where other than planned.
    eased : tuple of (Limit, Fraction)
        A limit that cannot be met, as asked for, and the value to accept: the nearest that can be reached.
    raised : tuple of (str, Fraction, Fraction)
        Label, most the recipe (or the bowl) allows, g; and the grams used instead.
    """

    proposal: Proposal
    servings: int | None = None
    eased: tuple[tuple[Limit, Fraction], ...] = ()
    raised: tuple[tuple[str, Fraction, Fraction], ...] = ()

    @property
    def bowl(self) -> Recipe:
        """The dish of this remedy with every weight fixed."""
        return fixed(self.proposal.recipe, tuple(weight.grams for weight in self.proposal.weights))


def remedies_for(bowl: Recipe, recipe: Recipe, conflict: Sequence[Limit],
                 guaranteed: Guaranteed) -> tuple[Remedy, ...]:
    """What would do: more servings or more of one fat, else both; then the nearest value of each limit in the way.

    The ratio comes first, also where it is only in the way at another number of servings.
    `recipe` is the dish before anything was weighed: its maxima say how much of a fat is still the dish.
    """
    keeping = [_more_servings(bowl, guaranteed), _more_fat(bowl, recipe, guaranteed)]
    if not any(keeping):
        keeping = [_fat_and_servings(bowl, recipe, guaranteed)]
    easing = [_nearest_ratio(bowl, guaranteed)]
    easing += [_eased(bowl, limit, guaranteed) for limit in conflict if limit.kind in EASED and limit.nutrient != RATIO]
    found = tuple(remedy for remedy in (*keeping, *easing) if remedy)
    return found or _fat_and_easing(bowl, recipe, guaranteed) or _several_eased(bowl, recipe, guaranteed)


def _fat_and_easing(bowl: Recipe, recipe: Recipe, guaranteed: Guaranteed) -> tuple[Remedy, ...]:
    """More fat and one limit eased together, for each limit that then does."""
    free = _freed(bowl, _fats(bowl), recipe)
    found = [_eased(free, limit, guaranteed) for limit in limits_of(bowl, guaranteed) if limit.kind in EASED]
    return tuple(replace(remedy, raised=_raised(bowl, remedy.proposal, None).raised) for remedy in found if remedy)


def _several_eased(bowl: Recipe, recipe: Recipe, guaranteed: Guaranteed) -> tuple[Remedy, ...]:
    """As many limits eased as it takes, with more fat: given up one by one, then each held as near as can be."""
    trial = _freed(bowl, _fats(bowl), recipe)
    given_up: list[Limit] = []
    while not isinstance(answer := attempt(trial, guaranteed=guaranteed), Proposal):
        easy = [limit for limit in answer.diagnosis.conflict if limit.kind in EASED]
        if not easy:
            return ()
        given_up.append(min(easy, key=lambda limit: (limit.nutrient == RATIO, -EASED.index(limit.kind))))
        trial = eased(trial, given_up[-1], None)
    values: list[tuple[Limit, Fraction]] = []
    for limit in given_up:
        found = nearest(trial, limit, guaranteed=guaranteed)
        trial = eased(trial, limit, found[0] if found else limit.bound)
        if found:
            values.append((limit, found[0]))
    final = attempt(trial, guaranteed=guaranteed)
    if not isinstance(final, Proposal):
        return ()
    return (replace(_raised(bowl, final, None), eased=tuple(values)),)


def _solved(recipe: Recipe, guaranteed: Guaranteed) -> Proposal | None:
    """The answer where there is one; whether there can be is asked first, as that costs little."""
    if not feasible(recipe, list(limits_of(recipe, guaranteed))):
        return None
    answer = attempt(recipe, guaranteed=guaranteed)
    return answer if isinstance(answer, Proposal) else None


def _servings(bowl: Recipe) -> Iterator[int]:
    """More servings than the recipe's, as far as that is still the dish."""
    return iter(range(bowl.servings + 1, min(MOST_SERVINGS * bowl.servings, bowl.servings + 30) + 1))


def _more_servings(bowl: Recipe, guaranteed: Guaranteed) -> Remedy | None:
    for servings in _servings(bowl):
        proposal = _solved(with_servings(bowl, servings), guaranteed)
        if proposal:
            return Remedy(proposal, servings=servings)
    return None


def _more_fat(bowl: Recipe, recipe: Recipe, guaranteed: Guaranteed) -> Remedy | None:
    """One fat beyond its maximum (or beyond what was weighed in); the one that takes the least."""
    found = []
    for place in _fats(bowl):
        free = _freed(bowl, (place,), recipe)
        proposal = _solved(free, guaranteed)
        if proposal:
            found.append(_raised(bowl, proposal, None))
    return min(found, key=_overshoot, default=None)


def _fat_and_servings(bowl: Recipe, recipe: Recipe, guaranteed: Guaranteed) -> Remedy | None:
    """The fewest servings at which one fat beyond its maximum does, then all of them together."""
    fats = _fats(bowl)
    for servings in _servings(bowl):
        for places in ([(place,) for place in fats] + ([tuple(fats)] if len(fats) > 1 else [])):
            wider = with_servings(bowl, servings)
            proposal = _solved(_freed(wider, places, recipe), guaranteed)
            if proposal:
                return _raised(bowl, proposal, servings)
    return None


def _fats(bowl: Recipe) -> list[int]:
    """Places of the fats that could be used beyond the recipe, those of most fat first."""
    fat = [per_gram(ingredient, "fat_g", bowl) or ZERO for ingredient in bowl.ingredients]
    net = [per_gram(ingredient, NET_CARBS, bowl) or ZERO for ingredient in bowl.ingredients]
    places = [place for place, i in enumerate(bowl.ingredients)
              if fat[place] >= FATTY and i.food.role in ("fat", "", "dairy") and net[place] < FATTY / 10]
    return sorted(places, key=lambda place: -fat[place])


def _freed(bowl: Recipe, places: Sequence[int], recipe: Recipe) -> Recipe:
    """The bowl with a higher maximum on these fats, as far as a person may eat them; what is in it of them stays in."""
    items = list(bowl.ingredients)
    tenth = sum(item.start for item in items) / 10
    for place in places:
        item, allowed = items[place], recipe.ingredients[place].maximum
        least = item.minimum if item.minimum is not None else item.start
        most = max(least, allowed or 0.0)
        eaten = HEAVIEST if item.food.most is None else item.food.most * item.yield_ * bowl.servings
        freed = min(most + max(most / 2, tenth), max(most, eaten), HEAVIEST)
        items[place] = replace(item, minimum=least, maximum=round(freed, 6))
    return replace(bowl, ingredients=tuple(items))


def _raised(bowl: Recipe, proposal: Proposal, servings: int | None) -> Remedy:
    """A remedy in words of the recipe: fats used beyond what it allows."""
    raised = []
    for ingredient, weight in zip(bowl.ingredients, proposal.weights, strict=True):
        most = exact(ingredient.start if ingredient.maximum is None else ingredient.maximum)
        if weight.grams > most:
            raised.append((ingredient.label, most, weight.grams))
    return Remedy(proposal, servings=servings, raised=tuple(raised))


def _overshoot(remedy: Remedy) -> Fraction:
    return sum((grams - most for _, most, grams in remedy.raised), ZERO)


def _nearest_ratio(bowl: Recipe, guaranteed: Guaranteed) -> Remedy | None:
    """The nearest ratio with everything else as it is, or at the fewest servings that allow one."""
    asked = [limit for limit in limits_of(bowl, guaranteed) if limit.nutrient == RATIO]
    for servings in (bowl.servings, *_servings(bowl)) if asked else ():
        for limit in asked:
            found = _eased(with_servings(bowl, servings), limit, guaranteed)
            if found:
                return found if servings == bowl.servings else replace(found, servings=servings)
    return None


def _eased(bowl: Recipe, limit: Limit, guaranteed: Guaranteed) -> Remedy | None:
    """The dish at the nearest value of one limit, everything else kept."""
    found = nearest(bowl, limit, guaranteed=guaranteed)
    return Remedy(found[1], eased=((limit, found[0]),)) if found else None
