"""Something added to a recipe as it is written, and how a fat that may be added fares."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.dish.most import BEYOND
from ratio_solver.dish.nutrition import Facts
from ratio_solver.dish.status import LimitState
from ratio_solver.exact import ZERO, Vector, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.recipe.model import Recipe

KEEPS, BREAKS, UNKNOWN, CANNOT = "keeps every limit", "breaks a limit", "cannot be judged", "cannot reach it"
OUTCOMES = (KEEPS, BREAKS, BEYOND, UNKNOWN, CANNOT)
"""From the best to the worst."""


@dataclass(frozen=True)
class Addition:
    """The recipe as written with something added to the batch.

    Attributes
    ----------
    grams : tuple of Fraction
        Of each food added, g for the batch.
    facts : Facts
        Per serving, with the addition.
    limits : tuple of LimitState
        Every limit of the recipe at these very weights.
    broken : tuple of LimitState
        Those that the addition breaks or leaves broken; without those it has no part in.
    """

    grams: Vector
    facts: Facts
    limits: tuple[LimitState, ...]
    broken: tuple[LimitState, ...]

    @property
    def total(self) -> Fraction:
        """Grams added to the batch."""
        return sum(self.grams, ZERO)


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
    """

    foods: tuple[Food, ...]
    outcome: str
    own_ratio: Fraction | None
    least: Addition | None
    weighed: Addition | None
    reason: str = ""
    brings: tuple[str, ...] = ()
    beyond: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Its food, or both."""
        return " + ".join(food.name for food in self.foods)


@dataclass(frozen=True)
class AddFat:
    """What was found.

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
        Limits broken as written that none of the foods tried can mend, however much of it is added.
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

    @property
    def reached(self) -> bool:
        """Whether the recipe as written has the ratio already."""
        limit = next(s.limit for s in self.written.limits if s.limit.least_ratio)
        return limit.margin(tuple(exact(start) for start in self.recipe.starts)) >= 0

    @property
    def best(self) -> Candidate | None:
        """The candidate or mix that keeps every limit with the fewest grams."""
        first = self.candidates[0] if self.candidates else None
        return first if first is not None and first.outcome == KEEPS else self.mix

    @property
    def mendable(self) -> bool:
        """Whether adding more than the ratio needs may mend a limit that is broken as written."""
        return any(state not in self.beyond for state in self.written.broken)

    def broken_by(self, addition: Addition) -> tuple[LimitState, ...]:
        """The limits that an addition breaks or leaves broken, without those broken whatever is added."""
        beyond = {state.limit.identity for state in self.beyond}
        return tuple(state for state in addition.broken if state.limit.identity not in beyond)

    @property
    def unjudged(self) -> bool:
        """Whether a figure that a limit needs is unknown for every fat, so that nothing can be said of any."""
        return bool(self.candidates) and all(candidate.outcome == UNKNOWN for candidate in self.candidates)

    @property
    def solved(self) -> bool:
        """Whether a fat or a mix of two keeps every limit on the scale, those beyond reach set aside."""
        return self.best is not None and self.best.outcome == KEEPS


