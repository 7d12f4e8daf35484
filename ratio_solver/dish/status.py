"""How weights stand: each beside its start and bounds, each limit with its slack."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from ratio_solver.dish.constraints import Limit
from ratio_solver.exact import ONE, ZERO, Vector, exact
from ratio_solver.recipe.measures import household
from ratio_solver.recipe.model import RATIO, Ingredient, Recipe


@dataclass(frozen=True)
class Weight:
    """Weight of one ingredient, g for the batch.

    Attributes
    ----------
    ingredient, food : str
    start, grams : Fraction
    minimum, maximum : Fraction or None
    at : {None, "min", "max", "fixed"}
        The bound it sits at.
    lowest, highest : Fraction or None
        Over all feasible answers, in any fraction of a gram; None for a fixed one.
    best_lowest, best_highest : Fraction or None
        Over all equally good answers.
    step : Fraction or None
        What the weight was held to multiples of, g; None where it was not.
    piece : bool
        Whether the step is a whole piece.
    of : Ingredient or None
        What is weighed.
    """

    ingredient: str
    food: str
    start: Fraction
    grams: Fraction
    minimum: Fraction | None
    maximum: Fraction | None
    at: str | None
    lowest: Fraction | None = None
    highest: Fraction | None = None
    best_lowest: Fraction | None = None
    best_highest: Fraction | None = None
    step: Fraction | None = None
    piece: bool = False
    of: Ingredient | None = field(default=None, repr=False)

    @property
    def change(self) -> Fraction:
        """Grams added (or taken away, negative)."""
        return self.grams - self.start

    @property
    def measure(self) -> str:
        """The weight in household measures ("3 1/4 tbsp"), a help; empty where the food has none that fits."""
        told = self.of and household(self.of.food, self.grams, exact(self.of.yield_))
        return str(told or "")


RATIO_MET = 1e-9
"""A ratio that is nearer than this to its binding limit is told as that."""


@dataclass(frozen=True)
class Loosening:
    """What loosening a limit does to the objective.

    Attributes
    ----------
    price : float
        Change of the objective for one more unit of the limit, on its looser side.
    until : float or None
        The limit up to which that holds; None is without end.
    bend : float
        Of a ratio or a share, whose unit is worth more or less on the way: its divisor at the limit b' is
        the one at b divided by ``1 - bend (b' - b)``.
    """

    price: float
    until: float | None
    bend: float = 0.0

    def change(self, step: float) -> float:
        """Exact change of the objective when the limit moves by a step within the range."""
        return self.price * step / (1.0 - self.bend * step)


@dataclass(frozen=True)
class LimitState:
    """A limit at an answer.

    Attributes
    ----------
    limit : Limit
    actual, slack : Fraction or None
        In the limit's unit; None where its denominator is zero.
    binding : bool
    price : float or None
        Change of the objective for one more unit of the limit as written; None where it has none. Where it
        is another for one unit less: that for more, if the limit can be more at all.
    holds_from, holds_to : float or None
        The range of the limit over which the price holds; None is without end. Of a ratio or a share: over
        which the same limits bind, while the price itself bends.
    looser : Loosening or None
        What loosening it does; None where that is not possible or not known.
    """

    limit: Limit
    actual: Fraction | None
    slack: Fraction | None
    binding: bool
    price: float | None = None
    holds_from: float | None = None
    holds_to: float | None = None
    looser: Loosening | None = None


def weighed(recipe: Recipe, weights: Vector, tolerance: Fraction = ZERO) -> tuple[Weight, ...]:
    """Each ingredient's weight beside its start and bounds."""
    found = []
    for ingredient, grams in zip(recipe.ingredients, weights, strict=True):
        low = None if ingredient.minimum is None else exact(ingredient.minimum)
        high = None if ingredient.maximum is None else exact(ingredient.maximum)
        at = "fixed" if low is None or high is None else \
            "min" if grams - low <= tolerance else "max" if high - grams <= tolerance else None
        found.append(Weight(ingredient.label, ingredient.food.name, exact(ingredient.start), grams, low, high, at,
                            of=ingredient))
    return tuple(found)


def states_of(limits: Sequence[Limit], weights: Vector, tolerance: Fraction = ZERO) -> tuple[LimitState, ...]:
    """How each limit stands; where one end of a quantity binds, its other end sees the very same value."""
    states = tuple(state_of(limit, weights, tolerance) for limit in limits)
    bound = {_quantity(state.limit): state.limit.bound for state in states if state.binding}
    return tuple(
        state if state.binding or state.actual is None or (seen := bound.get(_quantity(state.limit))) is None
        else replace(state, actual=seen, slack=state.limit.slack(seen))
        for state in states
    )


def _quantity(limit: Limit) -> tuple[object, ...]:
    """What a limit holds, without its bound: the same of both ends of a quantity."""
    if limit.kind == "ingredient":
        return (limit.subject,)
    return (limit.numerator, limit.denominator, limit.constant, limit.members)


def state_of(limit: Limit, weights: Vector, tolerance: Fraction = ZERO) -> LimitState:
    """Actual value and slack of a limit; a margin within the tolerance is none."""
    actual = limit.actual(weights)
    if actual is None:
        return LimitState(limit, None, None, binding=False)
    slack = over = limit.slack(actual)
    if limit.kind != "ingredient":
        over = limit.margin(weights)
        tolerance = tolerance and tolerance * (max(map(abs, limit.row()[0]), default=ZERO) or ONE)
    if over <= tolerance and -over <= tolerance:
        return LimitState(limit, limit.bound, ZERO, binding=True)
    return LimitState(limit, actual, slack, binding=False)


def ratio_reached(ratio: Fraction | None, limits: Sequence[LimitState]) -> Fraction | None:
    """The ratio reached; the bound itself where that is binding and met."""
    bound = next((state.limit.bound for state in limits if state.binding and state.limit.nutrient == RATIO), None)
    return bound if bound is not None and ratio is not None and abs(ratio - bound) < RATIO_MET else ratio
