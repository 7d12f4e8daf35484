"""What would do for a bowl that cannot keep the limits: more servings, more of a fat, a limit relaxed."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial

from ratio_solver.dish.constraints import MORE, Limit, limits_of
from ratio_solver.dish.nutrition import per_gram
from ratio_solver.errors import NotProven
from ratio_solver.exact import ONE, ZERO, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.quantities import UNIT_TABLE
from ratio_solver.lp.clock import in_time, out_of_time, share
from ratio_solver.recipe.change import fixed, with_servings
from ratio_solver.recipe.model import RATIO, Recipe
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.infeasible.one_change import TRIES, reachable, relaxed
from ratio_solver.solving.result import Proposal
from ratio_solver.solving.solve import attempt, weights_for

TIMES_SERVINGS, SERVINGS_MORE = 3, 30
"""More servings are tried up to so many times the recipe's, and up to so many more."""

RELAXABLE = ("target", "part", "proportion")
"""Kinds of limits that may be relaxed: an ingredient's own bounds and choices stay."""

FATTY = Fraction(7, 10)
"""A food is a fat to correct with when it is at least so much fat.

It may go beyond its maximum by half of that or a tenth of the batch, whichever is more: further it is no longer the
dish, and a fat that is used for the little protein in it is no way out.
"""

EXACT_DIGITS = 9
"""Decimals of the best value that are no noise of the solver."""


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
        return fixed(self.proposal.recipe, self.proposal.grams_of_each)


def remedies_for(bowl: Recipe, recipe: Recipe, conflict: Sequence[Limit],
                 guaranteed: Guaranteed) -> tuple[tuple[Remedy, ...], bool]:
    """What would do: more servings or more of one fat, else both; then the nearest value of each limit in the way.

    The ratio comes first, also where it is only in the way at another number of servings.
    `recipe` is the dish before anything was weighed: its maxima say how much of a fat is still the dish. Each way is
    tried in a share of the time; the second part of the answer is whether it was up before all were tried.
    """
    search, found, unfinished = _WaysOut(bowl, recipe, guaranteed), list[Remedy](), False
    others = [limit for limit in conflict if limit.kind in RELAXABLE and limit.nutrient != RATIO]
    stages: tuple[tuple[float, bool, Sequence[_Way]], ...] = (  # part of the time; whether only where nothing did
        (2, False, [search.more_servings, search.more_fat]),
        (3, True, [search.fat_and_servings]),
        (1.5, False, [search.nearest_ratio, *(partial(search.relaxing, limit) for limit in others)]),
        (2, True, [search.fat_and_one_limit]),
        (1, True, [search.several_limits]),
    )
    for part, as_last, ways in stages:
        if as_last and found:
            continue
        with share(part):
            for left, way in zip(range(len(ways), 0, -1), ways, strict=True):
                with share(left):
                    try:
                        made = way()
                        found.extend(filter(None, made if isinstance(made, tuple) else [made]))
                    except NotProven:
                        unfinished = True
                    unfinished = unfinished or out_of_time()
    return tuple(found), unfinished


_Way = Callable[[], Remedy | tuple[Remedy, ...] | None]


@dataclass(frozen=True)
class _WaysOut:
    """The bowl, the dish that was planned, and how its targets are kept."""

    bowl: Recipe
    recipe: Recipe
    guaranteed: Guaranteed

    def more_servings(self) -> Remedy | None:
        """The fewest servings that do."""
        return next(filter(None, (self._keeping(servings) for servings in self._servings())), None)

    def more_fat(self) -> Remedy | None:
        """One fat beyond its maximum (or beyond what was weighed in); the one that takes the least."""
        found = filter(None, (self._keeping(None, (place,)) for place in self._fats()))
        return min(found, key=lambda remedy: sum(grams - most for _, most, grams in remedy.raised), default=None)

    def fat_and_servings(self) -> Remedy | None:
        """The fewest servings at which one fat beyond its maximum does, then all of them together."""
        fats = self._fats()
        tried = [*((place,) for place in fats), *([tuple(fats)] if len(fats) > 1 else [])]
        found = (self._keeping(servings, places) for servings in self._servings() for places in tried)
        return next(filter(None, found), None)

    def nearest_ratio(self) -> Remedy | None:
        """The nearest ratio with everything else as it is, or at the fewest servings that allow one."""
        asked = [limit for limit in limits_of(self.bowl, self.guaranteed) if limit.nutrient == RATIO]
        found = (self.relaxing(limit, servings=servings) for servings in (None, *self._servings()) for limit in asked)
        return next(filter(None, found), None)

    def relaxing(self, limit: Limit, fats: Sequence[int] = (), servings: int | None = None) -> Remedy | None:
        """The dish at the nearest value of one limit, everything else kept."""
        found = nearest_value(self._freed(servings, fats), limit, guaranteed=self.guaranteed)
        return self._remedy(found[1], servings, [(limit, found[0])]) if found else None

    def fat_and_one_limit(self) -> tuple[Remedy, ...]:
        """More fat and one limit relaxed together, for each limit that then does."""
        fats = self._fats()
        return tuple(filter(None, (self.relaxing(limit, fats) for limit in limits_of(self.bowl, self.guaranteed)
                                   if limit.kind in RELAXABLE)))

    def several_limits(self) -> tuple[Remedy, ...]:
        """As many relaxed as it takes, with more fat: given up one by one, then each held as near as can be."""
        trial = self._freed(None, self._fats())
        given_up: list[Limit] = []
        while not isinstance(answer := attempt(trial, guaranteed=self.guaranteed), Proposal):
            in_time()
            easy = [limit for limit in answer.diagnosis.conflict if limit.kind in RELAXABLE]
            if not easy:
                return ()
            given_up.append(min(easy, key=lambda limit: (limit.nutrient == RATIO,
                                                         -RELAXABLE.index(limit.kind))))
            trial = relaxed(trial, given_up[-1], None)
        values: list[tuple[Limit, Fraction]] = []
        for limit in given_up:
            found = nearest_value(trial, limit, guaranteed=self.guaranteed)
            trial = relaxed(trial, limit, found[0] if found else limit.bound)
            values += [(limit, found[0])] if found else []
        final = weights_for(trial, guaranteed=self.guaranteed)
        return (self._remedy(final, None, values),) if final else ()

    def _servings(self) -> range:
        """More servings than the recipe's, as far as that is still the dish."""
        planned = self.bowl.servings
        return range(planned + 1, min(TIMES_SERVINGS * planned, planned + SERVINGS_MORE) + 1)

    def _fats(self) -> list[int]:
        """Places of the fats that could be used beyond the recipe, those of most fat first."""
        fat, net = ([per_gram(ingredient, column, self.bowl) or ZERO for ingredient in self.bowl.ingredients]
                    for column in ("fat_g", NET_CARBS))
        places = [place for place, i in enumerate(self.bowl.ingredients)
                  if fat[place] >= FATTY and i.food.role in ("fat", "", "dairy") and net[place] < FATTY / 10]
        return sorted(places, key=lambda place: -fat[place])

    def _keeping(self, servings: int | None, fats: Sequence[int] = ()) -> Remedy | None:
        """The bowl in so many servings with more of these fats, every limit kept, where that can be."""
        answer = weights_for(self._freed(servings, fats), guaranteed=self.guaranteed)
        return self._remedy(answer, servings, ()) if answer else None

    def _freed(self, servings: int | None, fats: Sequence[int]) -> Recipe:
        """The bowl in so many servings with a higher maximum on these fats, as far as a person may eat them.

        What is in it of them stays in.
        """
        in_time()
        bowl = with_servings(self.bowl, servings or self.bowl.servings)
        items = list(bowl.ingredients)
        tenth = sum(item.start for item in items) / 10
        for place in fats:
            item, allowed = items[place], self.recipe.ingredients[place].maximum
            least = item.minimum if item.minimum is not None else item.start
            most = max(least, allowed or 0.0)
            eaten = HEAVIEST if item.food.most is None else item.food.most * item.yield_ * bowl.servings
            freed = min(most + max(most / 2, tenth), max(most, eaten), HEAVIEST)
            items[place] = replace(item, minimum=least, maximum=round(freed, 6))
        return replace(bowl, ingredients=tuple(items))

    def _remedy(self, proposal: Proposal, servings: int | None, eased: Iterable[tuple[Limit, Fraction]]) -> Remedy:
        """A way out in words of the recipe: with the fats used beyond what it allows."""
        allowed = [exact(i.start if i.maximum is None else i.maximum) for i in self.bowl.ingredients]
        return Remedy(proposal, servings, tuple(eased), tuple(
            (weight.ingredient, most, weight.grams)
            for most, weight in zip(allowed, proposal.weights, strict=True) if weight.grams > most))


def nearest_value(recipe: Recipe, limit: Limit, *, guaranteed: Guaranteed = None) -> tuple[Fraction, Proposal] | None:
    """The nearest value of a limit that can be reached, on its safe side, and the dish that has it.

    Parameters
    ----------
    recipe : Recipe
    limit : Limit
        A target, the weight of a part or a proportion of the recipe.
    guaranteed : {"mean", "food"}, optional
        Keep the targets for every composition within the table's intervals.

    Returns
    -------
    (Fraction, Proposal) or None
        None where the limit can be kept, or where the other limits cannot be kept either.

    Raises
    ------
    NotProven
        Where the time is up.
    """
    others = [other for other in limits_of(recipe, guaranteed) if other.identity != limit.identity]
    best, up = reachable(SearchDomain(recipe), others, limit), limit.sense == MORE
    if best is None or (best >= limit.bound if up else best <= limit.bound):
        return None
    step = ONE if limit.kind == "part" else UNIT_TABLE[limit.unit].step
    value = (math.floor if up else math.ceil)(round(best, EXACT_DIGITS) / step) * step
    for _ in range(TRIES):
        in_time()
        if value < 0 or (limit.unit == ":1" and not value):
            return None
        answer = weights_for(relaxed(recipe, limit, value), guaranteed=guaranteed)
        if answer:
            return value, answer
        value += -step if up else step
    return None
