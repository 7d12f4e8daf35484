"""A recipe as written with foods added at its end, judged at any grams of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property

from ratio_solver.dish.constraints import MORE, Identity, Limit, limits_of
from ratio_solver.dish.most import most_of_added
from ratio_solver.dish.nutrition import Facts, facts_of
from ratio_solver.dish.status import LimitState, state_of
from ratio_solver.exact import ZERO, Vector, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.recipe.change import with_added
from ratio_solver.recipe.model import Recipe


@dataclass(frozen=True)
class Addition:
    """The recipe as written with so much of foods at its end; what is made of it is reckoned where it is asked for.

    Attributes
    ----------
    grams : tuple of Fraction
        Of each food added, g for the batch.
    recipe : Recipe
        With these foods.
    starts : tuple of Fraction
        Weights of the recipe without them, g for the batch.
    asked : tuple of Limit
        Of the recipe with them.
    guaranteed : {"mean", "food"} or None
    """

    grams: Vector
    recipe: Recipe = field(repr=False, compare=False)
    starts: Vector = field(repr=False, compare=False)
    asked: tuple[Limit, ...] = field(repr=False, compare=False)
    guaranteed: Guaranteed = field(repr=False, compare=False)

    @classmethod
    def of(cls, recipe: Recipe, foods: Sequence[Food], guaranteed: Guaranteed) -> Addition:
        """Nothing yet of these foods; raises BadInput where a figure that a limit needs is unknown."""
        grown = with_added(recipe, foods)
        starts = tuple(map(exact, recipe.starts))
        return cls((ZERO,) * len(foods), grown, starts, limits_of(grown, guaranteed), guaranteed)

    def at(self, grams: Vector) -> Addition:
        """The dish with so much of each food."""
        return replace(self, grams=grams)

    @property
    def total(self) -> Fraction:
        """Grams added to the batch."""
        return sum(self.grams, ZERO)

    @property
    def weights(self) -> Vector:
        """Of every ingredient and of what is added, g for the batch."""
        return (*self.starts, *self.grams)

    @cached_property
    def facts(self) -> Facts:
        """Per serving, with the addition."""
        return facts_of(self.recipe, self.weights)

    @cached_property
    def limits(self) -> tuple[LimitState, ...]:
        """Every limit of the recipe at these very weights."""
        return tuple(state_of(limit, self.weights) for limit in self.asked)

    @cached_property
    def broken(self) -> tuple[LimitState, ...]:
        """Limits that the addition breaks or leaves broken; without those it has no part in."""
        return tuple(state_of(limit, self.weights) for limit in self.asked
                     if self._concerned(limit) and limit.margin(self.weights) < 0)

    def _concerned(self, limit: Limit) -> bool:
        """Whether something added to the batch can change a limit: a target, or a share of the batch."""
        if limit.kind == "proportion":
            share = self.recipe.proportions[limit.subject.place]
            return share.of_batch or share.to_batch
        return limit.kind == "target"

    def _row(self, limit: Limit) -> tuple[Vector, Fraction]:
        """A limit over the grams added: what it gains with a gram of each food, and what that must come to."""
        gains = limit.row()[0][len(self.starts):]
        missing = -limit.margin((*self.starts, *[ZERO] * len(self.grams)))
        return gains if limit.sense == MORE else tuple(-gain for gain in gains), missing

    def rows(self) -> dict[Identity, tuple[Vector, Fraction]]:
        """Each limit's row that an addition can change."""
        return {limit.identity: self._row(limit) for limit in self.asked if self._concerned(limit)}

    def most_rows(self) -> list[tuple[Vector, Fraction]]:
        """The same for what a person may eat; without what the dish as written is beyond by itself."""
        rows = (self._row(most.limit) for most in most_of_added(self.recipe, len(self.grams), self.guaranteed))
        return [(gains, missing) for gains, missing in rows if missing <= 0]
