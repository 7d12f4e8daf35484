"""One curve of a dish: the parametric model behind it, and its pieces in the cook's words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice

from ratio_solver.dish.constraints import LESS, MORE, Limit, limits_of
from ratio_solver.errors import NotProven
from ratio_solver.exact import ONE, ZERO, Vector, dot, exact
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

MOST_COUNTED = 4096
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
    net : Limit
        Net carbs of a serving.
    ratio : Limit
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
    net: Limit
    ratio: Limit
    moving: Moving
    models: tuple[LinearModel, ...]
    tops: tuple[Fraction, ...]

    @property
    def best(self) -> Fraction | None:
        """The best reachable ratio; None where no weights keep the other limits."""
        return max(self.tops, default=None)

    def stretches(self, most: Fraction | None) -> tuple[LowestRegion, ...]:
        """Pieces over the least ratio, as far as they are the lowest; up to `most`."""
        start, ends = self._unheld(), [top if most is None else min(top, most) for top in self.tops]
        start = start if start < max(ends) else ZERO  # where all dishes are above what is shown it is shown from 0
        traces = [trace(model, self.moving, start, end) for model, end in zip(self.models, ends, strict=True)]
        return lowest(traces)

    def _unheld(self) -> Fraction:
        """The ratio of the best dish that no ratio is asked of: below it nothing changes."""
        row = self.models[0].rows[self.moving.mark.place]
        points = [found.values for model in self.models if (found := solve_lp(model)) is not None]
        best = min(points, key=lambda point: [dot(cost, point) for cost in self.models[0].costs])
        below = dot(self.moving.rate, best) - self.moving.bound_rate
        return (dot(row.coefficients, best) - row.bound) / below if below > 0 else ZERO

    def rises(self, stretch: LowestRegion) -> bool:
        """Whether the curve has begun: the least ratio binds, or the least net carbs rise with it."""
        if self.ceiling:
            return stretch.region.rises
        return bool(stretch.region.gain) or self.moving.mark in stretch.region.tight

    def coordinates(self, stretch: LowestRegion, ratio: Fraction) -> tuple[Fraction, Fraction]:
        """x and y of the curve at a ratio."""
        cost = stretch.region.costs_at(ratio)[0]
        return (self.net_carbs(cost), ratio) if self.ceiling else (ratio, cost)

    def net_carbs(self, moving_part: Fraction) -> Fraction:
        """Net carbs of a serving, g, from those of the adjustable ingredients of the batch."""
        return (moving_part + self._fixed_net) / self.recipe.servings

    @property
    def _fixed_net(self) -> Fraction:
        return dot(self.net.numerator, fixed_weights(self.recipe))

    def formula(self, stretch: LowestRegion) -> Formula:
        """The curve's formula from the region's, of the ceiling the inverse; r is 1, or s where r is nil."""
        p, q, r, s = stretch.region.formula
        if self.ceiling:
            fixed, servings = self._fixed_net, self.recipe.servings
            p, q, r, s = p + r * fixed, -r * servings, -q - s * fixed, s * servings
        return p / (r or s), q / (r or s), r / (r or s), s / (r or s)

    def weights(self, stretch: LowestRegion, ratio: Fraction) -> Vector:
        """Weights of all ingredients at a ratio, g for the batch."""
        return self.formulation.weights(stretch.region.values_at(ratio))

    def binding(self, stretch: LowestRegion) -> tuple[str, ...]:
        """Names of the limits that bind all along a stretch, but for the least ratio and pinned weights."""
        marks, found = stretch.region.tight, []
        for limit, row in zip(self.formulation.limits, self.formulation.row_of, strict=True):
            if row == self.moving.mark.place:
                continue
            if row is None:
                place = limit.numerator.index(ONE)
                if self.recipe.ingredients[place].minimum == self.recipe.ingredients[place].maximum:
                    continue  # pinned: it binds wherever one looks
                variable = self.formulation.adjustable.index(place)
                mark = Mark("lower" if limit.sense == MORE else "upper", variable)
            else:
                mark = Mark("row", row)
            if mark in marks:
                found.append(limit.name)
        return tuple(dict.fromkeys(found))

    def at_start(self, stretch: LowestRegion) -> tuple[str, ...]:
        """Labels of ingredients that stay at their start all along, within their bounds."""
        marks = stretch.region.tight
        count = len(self.formulation.adjustable)
        return tuple(
            self.recipe.ingredients[place].label for k, place in enumerate(self.formulation.adjustable)
            if ("lower", count + k) in marks and ("lower", 2 * count + k) in marks
            and ("lower", k) not in marks and ("upper", k) not in marks
        )


def drawing(recipe: Recipe, ceiling: bool, guaranteed: Guaranteed) -> Drawing:
    """The parametric model of a recipe. Raises BadInput where a figure that a limit needs is unknown."""
    ratio, net = recipe.target(RATIO), recipe.target(NET_CARBS)
    held = recipe.with_targets(Target(RATIO, 1.0, ratio.maximum if ratio else None))
    if ceiling:
        held = held.with_targets(Target(NET_CARBS, net.minimum if net else None, None))
    counted = limits_of(recipe.with_targets(Target(NET_CARBS, None, 1.0)), guaranteed)
    net_limit = next(limit for limit in counted if limit.key == ("net carbs", LESS))
    formulation = formulate(held, guaranteed=guaranteed)
    least = next(limit for limit in formulation.limits if limit.key == (RATIO, MORE))
    moving, model = _moving(formulation, least)
    if ceiling:
        grams, listed = model.costs
        near = tuple(a + b / 10**6 for a, b in zip(grams, listed, strict=True))
        model = replace(model, costs=(_padded(formulation, net_limit.numerator), near))
    tops = [(way, _highest(way, moving)) for way in _ways(model)]
    possible = [(way, top) for way, top in tops if top is not None]
    return Drawing(recipe, ceiling, formulation, net_limit, least, moving,
                   tuple(way for way, _ in possible), tuple(top for _, top in possible))


def _moving(formulation: Formulation, ratio: Limit) -> tuple[Moving, LinearModel]:
    """The ratio's row as the one that moves, and the model with it at the parameter 0: fat >= 0."""
    place = formulation.row_of[formulation.limits.index(ratio)]
    assert place is not None
    fixed = fixed_weights(formulation.recipe)
    row = replace(formulation.model.rows[place], coefficients=_padded(formulation, ratio.numerator),
                  bound=-dot(ratio.numerator, fixed))
    rows = tuple(row if k == place else r for k, r in enumerate(formulation.model.rows))
    moving = Moving(Mark("row", place), _padded(formulation, ratio.denominator), -dot(ratio.denominator, fixed))
    return moving, replace(formulation.model, rows=rows)


def _ways(model: LinearModel) -> tuple[LinearModel, ...]:
    """The model with its choices made, in every way that allows as much as any other."""
    found = list(islice(ways(model), MOST_COUNTED + 1))[::-1]
    if len(found) > MOST_WAYS:
        raise NotProven(TOO_MANY.format(len(found) if len(found) <= MOST_COUNTED else "far too many"))
    return tuple(found)


def _highest(model: LinearModel, moving: Moving) -> Fraction | None:
    """The highest ratio, as far as one may be asked for; None where no weights keep the other limits."""
    row = model.rows[moving.mark.place]
    seek = seeker(model.without_rows(frozenset({moving.mark.place})))
    top = best_quotient(seek, Quotient(row.coefficients, -row.bound, moving.rate, -moving.bound_rate), most=True,
                        enough=exact(HIGHEST_RATIO))
    return ZERO if top is None and solve_lp(model) is not None else top


def _padded(formulation: Formulation, amounts: Vector) -> Vector:
    """Amounts per g of each ingredient as coefficients of the model's variables."""
    entries = tuple(amounts[place] for place in formulation.adjustable)
    return (*entries, *[ZERO] * (len(formulation.model.variables) - len(entries)))


def fixed_weights(recipe: Recipe) -> Vector:
    """Weights of the fixed ingredients, g; 0 for the adjustable ones."""
    return tuple(ZERO if i.adjustable else exact(i.start) for i in recipe.ingredients)
