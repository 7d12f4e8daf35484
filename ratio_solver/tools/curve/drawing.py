"""One curve of a dish: the parametric model behind it, and its pieces in the cook's words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.dish.constraints import MORE, Limit, limits_of
from ratio_solver.exact import ZERO, Vector, dot, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.lp.envelope import Stretch, lowest, ways
from ratio_solver.lp.model import LinearModel
from ratio_solver.lp.parametric import Moving, trace
from ratio_solver.lp.reach import best_point, highest
from ratio_solver.recipe.model import RATIO, Recipe, Target
from ratio_solver.recipe.targets import HIGHEST_RATIO
from ratio_solver.solving.formulation import Formulation, formulate

Formula = tuple[Fraction, Fraction, Fraction, Fraction]
"""p, q, r, s of y = (p + q x) / (r + s x)."""


@dataclass(frozen=True)
class Drawing:
    """The parametric model of a dish.

    Attributes
    ----------
    recipe : Recipe
        As the cook wrote it.
    ceiling : bool
        Whether the curve is drawn against the ceiling on net carbs (else against the least ratio).
    formulation : Formulation
        Without the limit that the curve is drawn against.
    fixed_net : Fraction
        Net carbs of the fixed ingredients of the batch, g.
    moving : Moving
        The least ratio is the parameter.
    models : tuple of LinearModel
        One for each way to choose, those that have an answer; at the parameter 0.
    tops : tuple of Fraction
        The highest ratio of each.
    """

    recipe: Recipe
    ceiling: bool
    formulation: Formulation
    fixed_net: Fraction
    moving: Moving
    models: tuple[LinearModel, ...]
    tops: tuple[Fraction, ...]

    @property
    def best(self) -> Fraction | None:
        """The best reachable ratio; None where no weights keep the other limits."""
        return max(self.tops, default=None)

    def regions(self, most: Fraction | None) -> tuple[Stretch, ...]:
        """Critical regions over the least ratio, as far as they are the lowest; up to `most`."""
        start, ends = self._unheld(), [top if most is None else min(top, most) for top in self.tops]
        start = start if start < max(ends) else ZERO  # where all dishes are above what is shown it is shown from 0
        return lowest([trace(model, self.moving, start, end) for model, end in zip(self.models, ends, strict=True)])

    def _unheld(self) -> Fraction:
        """The ratio of the best dish that no ratio is asked of: below it nothing changes."""
        row, costs = self.models[0].rows[self.moving.row], self.models[0].costs[:2]
        points = [point for model in self.models if (point := best_point(model)) is not None]
        best = min(points, key=lambda point: [dot(cost, point) for cost in costs])
        below = dot(self.moving.rate, best) - self.moving.bound_rate
        return (dot(row.coefficients, best) - row.bound) / below if below > 0 else ZERO

    def rises(self, region: Stretch) -> bool:
        """Whether the curve has begun: the least ratio binds, or the least net carbs rise with it."""
        if self.ceiling:
            return bool(region.piece.slope and region.piece.gain)
        return bool(region.piece.gain) or ("row", self.moving.row) in _tight_marks(region)

    def coordinates(self, region: Stretch, ratio: Fraction) -> tuple[Fraction, Fraction]:
        """x and y of the curve at a ratio."""
        cost = region.piece.cost_at(ratio)
        return ((cost + self.fixed_net) / self.recipe.servings, ratio) if self.ceiling else (ratio, cost)

    def formula(self, region: Stretch) -> Formula:
        """The curve's formula from the critical region's: of the ceiling it is the inverse."""
        p, q, r, s = region.piece.formula
        fixed, servings = self.fixed_net, self.recipe.servings
        return (p + r * fixed, -r * servings, -q - s * fixed, s * servings) if self.ceiling else (p, q, r, s)

    def weights(self, region: Stretch, ratio: Fraction) -> Vector:
        """Weights of all ingredients at a ratio, g for the batch."""
        return self.formulation.weights(region.piece.values_at(ratio))

    def binding(self, region: Stretch) -> tuple[Limit, ...]:
        """The limits that bind all along a critical region, but for the least ratio and pinned weights."""
        tight, found = _tight_marks(region), []
        for limit, row in zip(self.formulation.limits, self.formulation.row_of, strict=True):
            place, end = limit.subject.place, "lower" if limit.sense == MORE else "upper"
            if row is None and self._pinned(place):
                continue  # it binds wherever one looks
            mark = (end, self.formulation.adjustable.index(place)) if row is None else ("row", row)
            if mark in tight and row != self.moving.row:
                found.append(limit)
        return tuple(found)

    def at_start(self, region: Stretch) -> tuple[str, ...]:
        """Labels of the ingredients that stay at their start all along, within their bounds."""
        tight, count = _tight_marks(region), len(self.formulation.adjustable)
        return tuple(self.recipe.ingredients[place].label for k, place in enumerate(self.formulation.adjustable)
                     if {("lower", count + k), ("lower", 2 * count + k)} <= tight
                     and not {("lower", k), ("upper", k)} & tight)

    def _pinned(self, place: int) -> bool:
        """Whether an ingredient's bounds leave it one weight."""
        return self.recipe.ingredients[place].minimum == self.recipe.ingredients[place].maximum


def _tight_marks(region: Stretch) -> set[tuple[str, int]]:
    """Kind and place of the rows and bounds of the model that are tight all along a critical region."""
    return {(mark.kind, mark.place) for mark in region.piece.tight}


def drawing(recipe: Recipe, ceiling: bool, guaranteed: Guaranteed) -> Drawing:
    """The parametric model of a recipe. Raises BadInput where a figure that a limit needs is unknown."""
    ratio, net = recipe.target(RATIO), recipe.target(NET_CARBS)
    held = recipe.with_targets(Target(RATIO, 1.0, ratio.maximum if ratio else None))
    if ceiling:
        held = held.with_targets(Target(NET_CARBS, net.minimum if net else None, None))
    counted = limits_of(recipe.with_targets(Target(NET_CARBS, None, 1.0)), guaranteed)
    formulation = formulate(held, guaranteed=guaranteed)
    (net_carbs,) = (limit.numerator for limit in counted if limit.nutrient == NET_CARBS)
    (least,) = (limit for limit in formulation.limits if limit.least_ratio)
    moving, model = _moving(formulation, least)
    if ceiling:
        grams, listed = model.costs
        near = tuple(a + b / 10**6 for a, b in zip(grams, listed, strict=True))
        model = replace(model, costs=(formulation.padded(net_carbs), near))
    tops = [(way, top) for way in ways(model) if (top := highest(way, moving, exact(HIGHEST_RATIO))) is not None]
    return Drawing(recipe, ceiling, formulation, dot(net_carbs, formulation.fixed), moving,
                   tuple(way for way, _ in tops), tuple(top for _, top in tops))


def _moving(formulation: Formulation, ratio: Limit) -> tuple[Moving, LinearModel]:
    """The ratio's row as the one that moves, and the model with it at the parameter 0: fat >= 0."""
    place = formulation.row_of[formulation.limits.index(ratio)]
    assert place is not None
    fixed = formulation.fixed
    row = replace(formulation.model.rows[place], coefficients=formulation.padded(ratio.numerator),
                  bound=-dot(ratio.numerator, fixed))
    rows = tuple(row if k == place else r for k, r in enumerate(formulation.model.rows))
    moving = Moving(place, formulation.padded(ratio.denominator), -dot(ratio.denominator, fixed))
    return moving, replace(formulation.model, rows=rows)
