"""One curve of a dish: the parametric model behind it, and its pieces in the cook's words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice

from ratio_solver.dish.constraints import MORE, Limit, limits_of
from ratio_solver.errors import NotProven
from ratio_solver.exact import ZERO, Vector, dot, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.lp.envelope import LowestRegion, lowest
from ratio_solver.lp.fractional import Quotient, best_quotient
from ratio_solver.lp.model import LinearModel, Mark
from ratio_solver.lp.parametric import Moving, trace
from ratio_solver.lp.solve import seeker, solve_lp, ways
from ratio_solver.recipe.model import RATIO, Recipe, Target
from ratio_solver.recipe.targets import HIGHEST_RATIO
from ratio_solver.solving.formulation import Formulation, formulate

MOST_WAYS = 64
"""Ways to choose that a curve is drawn through; each takes some tenths of a second."""

MOST_WAYS_COUNTED = 4096
"""Ways to choose that are counted."""

TOO_MANY = f"there are {{}} ways to choose, and a curve is drawn through {MOST_WAYS} at most: choose from fewer"

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

    def regions(self, most: Fraction | None) -> tuple[LowestRegion, ...]:
        """Critical regions over the least ratio, as far as they are the lowest; up to `most`."""
        start, ends = self._unheld(), [top if most is None else min(top, most) for top in self.tops]
        start = start if start < max(ends) else ZERO  # where all dishes are above what is shown it is shown from 0
        return lowest([trace(model, self.moving, start, end) for model, end in zip(self.models, ends, strict=True)])

    def _unheld(self) -> Fraction:
        """The ratio of the best dish that no ratio is asked of: below it nothing changes."""
        row, costs = self.models[0].rows[self.moving.mark.place], self.models[0].costs
        points = [found.values for model in self.models if (found := solve_lp(model)) is not None]
        best = min(points, key=lambda point: [dot(cost, point) for cost in costs])
        below = dot(self.moving.rate, best) - self.moving.bound_rate
        return (dot(row.coefficients, best) - row.bound) / below if below > 0 else ZERO

    def rises(self, region: LowestRegion) -> bool:
        """Whether the curve has begun: the least ratio binds, or the least net carbs rise with it."""
        if self.ceiling:
            return region.region.rises
        return bool(region.region.gain) or self.moving.mark in region.region.tight

    def coordinates(self, region: LowestRegion, ratio: Fraction) -> tuple[Fraction, Fraction]:
        """x and y of the curve at a ratio."""
        cost = region.region.costs_at(ratio)[0]
        return ((cost + self.fixed_net) / self.recipe.servings, ratio) if self.ceiling else (ratio, cost)

    def formula(self, region: LowestRegion) -> Formula:
        """The curve's formula from the critical region's, of the ceiling the inverse; r is 1, or s where r is nil."""
        p, q, r, s = region.region.formula
        if self.ceiling:
            fixed, servings = self.fixed_net, self.recipe.servings
            p, q, r, s = p + r * fixed, -r * servings, -q - s * fixed, s * servings
        return p / (r or s), q / (r or s), r / (r or s), s / (r or s)

    def weights(self, region: LowestRegion, ratio: Fraction) -> Vector:
        """Weights of all ingredients at a ratio, g for the batch."""
        return self.formulation.weights(region.region.values_at(ratio))

    def binding(self, region: LowestRegion) -> tuple[Limit, ...]:
        """The limits that bind all along a critical region, but for the least ratio and pinned weights."""
        tight, found = region.region.tight, []
        for limit, row in zip(self.formulation.limits, self.formulation.row_of, strict=True):
            place, end = limit.subject.place, "lower" if limit.sense == MORE else "upper"
            item = self.recipe.ingredients[place]
            if row is None and item.minimum == item.maximum:
                continue  # bounds that leave one weight bind wherever one looks
            mark = Mark(end, self.formulation.adjustable.index(place)) if row is None else Mark("row", row)
            if mark in tight and mark != self.moving.mark:
                found.append(limit)
        return tuple(found)

    def at_start(self, region: LowestRegion) -> tuple[str, ...]:
        """Labels of the ingredients that stay at their start all along, within their bounds."""
        tight, count = region.region.tight, len(self.formulation.adjustable)
        return tuple(self.recipe.ingredients[place].label for k, place in enumerate(self.formulation.adjustable)
                     if {("lower", count + k), ("lower", 2 * count + k)} <= tight
                     and not {("lower", k), ("upper", k)} & tight)


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
    tops = [(way, top) for way in _ways(model) if (top := _highest(way, moving)) is not None]
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
    moving = Moving(Mark("row", place), formulation.padded(ratio.denominator), -dot(ratio.denominator, fixed))
    return moving, replace(formulation.model, rows=rows)


def _ways(model: LinearModel) -> list[LinearModel]:
    """The model with its choices made, in every way that allows as much as any other."""
    found = list(islice(ways(model), MOST_WAYS_COUNTED + 1))[::-1]
    if len(found) > MOST_WAYS:
        raise NotProven(TOO_MANY.format(len(found) if len(found) <= MOST_WAYS_COUNTED else "far too many"))
    return found


def _highest(model: LinearModel, moving: Moving) -> Fraction | None:
    """The highest ratio, as far as one may be asked for; None where no weights keep the other limits."""
    row, without = model.rows[moving.mark.place], model.without_rows(frozenset({moving.mark.place}))
    top = best_quotient(seeker(without), Quotient(row.coefficients, -row.bound, moving.rate, -moving.bound_rate),
                        most=True, enough=exact(HIGHEST_RATIO))
    return ZERO if top is None and solve_lp(model) is not None else top
