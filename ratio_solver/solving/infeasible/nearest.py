"""A band that no weights on the steps meet: what is nearest to it on both sides, and the narrowest that is met.

"Exactly 2:1" of foods in whole grams is one point in some ten thousand, of few foods none. The points next to a band
are those on which its row comes out by a hair less or more: sums of two halves of the weights that meet in the middle
(`lp.halves`), further and further from the band until there are some. Where the halves have all the weights that the
bounds allow, nothing is nearer; else nothing near the best weights between the steps is. What is not next to the band
is the best of its quantity within the other limits, which the solver's search finds (`lp.fractional`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from ratio_solver.dish.constraints import LESS, MORE, Limit
from ratio_solver.errors import NotProven
from ratio_solver.exact import Vector, dot, exact
from ratio_solver.lp.clock import out_of_time, share
from ratio_solver.lp.fractional import best_quotient
from ratio_solver.lp.halves import SUMS, Halves, box_around, narrowest
from ratio_solver.lp.lattice import Lattice, lattice_of
from ratio_solver.lp.model import Floats, Ints
from ratio_solver.lp.search import WholeModel, minimum
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.formulation import NO_PREFERENCE, Formulation, formulate
from ratio_solver.solving.result import Nearest, Reached
from ratio_solver.solving.scale_steps import whole_model

WIDER = 4.0
"""Times that ends around a band are moved out from one try to the next."""

FIRST_ENDS = 1e-9
"""Where they begin, as a share of what a step changes."""

LAST_ENDS = 1e3

NEARER = 256.0
"""Where some of the weights have a point, all of them are first looked through within so many times less."""

FAR = Fraction(1, 1000)
"""Share of a band's end beyond which what is found of some weights may be bettered by the solver's search."""

MOST_SUMS = 2_500_000
"""All the weights are looked through where their halves have no more sums."""

LOOKED_AT = 500
"""Points next to a band that are judged in rationals, the nearest first."""

DECIMALS = {":1": 2, "share": 3, "kcal": 0, "mg": 0, "ug": 0}
"""Decimals of a band that is told, by unit, unless the one asked for has more; one for the others."""


def nearest_values(recipe: Recipe, limits: Sequence[Limit], conflict: Sequence[Limit],
                   between: Vector) -> Nearest | None:
    """What is nearest to the narrowest band among the limits; None where no band is narrow, or it can be met.

    Where the band is no part of the conflict, no value of its quantity keeps the other limits.

    Parameters
    ----------
    recipe : Recipe
    limits : sequence of Limit
        All of the recipe's.
    conflict : sequence of Limit
        Those of them that no weights on the steps keep together.
    between : tuple of Fraction, one per ingredient
        Weights between the steps that keep them, g: where they are looked for first.
    """
    pair = narrow_band(recipe, limits)
    if pair is None or not any(limit in conflict for limit in pair):
        return None
    least, most = pair
    formulation, whole, lattice = _whole_points(recipe, [one for one in limits if one not in pair])
    if lattice is None or lattice.empty:
        return None
    search, found = _Beside(whole, lattice, formulation, between), []
    for limit, way in ((least, -1), (most, 1)):
        side, sure = search.nearest(limit, way)
        if not sure and (side is None or abs(side.value - limit.bound) > FAR * limit.bound):
            with share(2):
                side, sure = _searched_beside(recipe, limits, limit, way, side)
        found.append((side, sure))
    (below, sure_below), (above, sure_above) = found
    if below is None and above is None:
        return None
    return Nearest(least, most, below, above, band_met(least, most, below, above), sure_below and sure_above)


def _searched_beside(recipe: Recipe, limits: Sequence[Limit], limit: Limit, way: int,
                     known: Reached | None) -> tuple[Reached | None, bool]:
    """What is nearest below (-1) or above (1) a bound of all weights by the solver's search, and whether it is known.

    It is the best of the quantity within all the other limits, what is `known` already or better.
    """
    formulation, whole, _ = _whole_points(recipe, [one for one in limits if one is not limit])
    found, sure = [] if known is None else [known], True

    def seek(cost: Vector) -> Vector | None:
        nonlocal sure
        point = minimum(whole, cost)
        if point is None:
            return None
        sure &= point.complete
        weights = formulation.weights(point.values)
        value = limit.actual(weights)
        if value is not None and not limit.hollow(weights):
            found.append(Reached(value, weights))
        return point.values

    try:
        best_quotient(seek, formulation.quotient(limit), most=way < 0,
                      near=limit.bound if known is None else known.value)
    except NotProven:
        sure = False
    return min(found, key=lambda reached: abs(reached.value - limit.bound), default=None), sure


def narrow_band(recipe: Recipe, limits: Sequence[Limit]) -> tuple[Limit, Limit] | None:
    """The least and most of the quantity with the narrowest band of all, where it leaves less room than a step."""
    formulation, whole, lattice = _whole_points(recipe, limits)
    pairs = [(least, most) for least in limits for most in limits if least.kind != "ingredient"
             and (least.sense, most.sense) == (MORE, LESS) and (least.kind, least.subject) == (most.kind, most.subject)]
    if lattice is None:
        return None
    if lattice.empty:  # a band over one weight that may move, between two of its steps
        return next((pair for pair in pairs
                     if (rest := _whole_points(recipe, [one for one in limits if one not in pair])[2]) is not None
                     and not rest.empty), None)
    narrow = narrowest(whole, lattice)
    row = -1 if narrow is None else int(lattice.source[narrow.row])
    of_row = [limit for limit, place in zip(limits, formulation.row_of, strict=True) if place == row]
    return next((pair for pair in pairs if any(limit in pair for limit in of_row)), None)


def _whole_points(recipe: Recipe, limits: Sequence[Limit]) -> tuple[Formulation, WholeModel, Lattice | None]:
    """Some limits of a recipe and the points on the steps."""
    formulation = formulate(recipe, NO_PREFERENCE, limits=limits)
    whole = whole_model(formulation)
    return formulation, whole, lattice_of(whole.model, whole.count)


class _Beside:
    """Points on either side of a band, from the nearest on."""

    def __init__(self, whole: WholeModel, lattice: Lattice, formulation: Formulation, between: Vector) -> None:
        self.whole, self.lattice, self.formulation = whole, lattice, formulation
        self.steps = [whole.model.variables[place].step or Fraction(1) for place in lattice.places]
        self.bases = [whole.model.variables[place].base for place in lattice.places]
        adjusted = [between[place] for place in formulation.adjustable]
        self.centre = np.array([float((grams - base) / step) for grams, base, step in zip(
            adjusted, self.bases, self.steps, strict=True)])
        self.starts = np.array([float((exact(item.start) - base) / step) for item, base, step in zip(
            formulation.items, self.bases, self.steps, strict=True)])
        self.grams = np.array([float(step) for step in self.steps])
        low, high = box_around(lattice, self.centre, MOST_SUMS)
        self.all_listed = bool((low == lattice.low).all() and (high == lattice.high).all())

    def nearest(self, limit: Limit, way: int) -> tuple[Reached | None, bool]:
        """The value of a limit's quantity nearest to its bound below (-1) or above (1), and whether none is nearer."""
        line, ends = self._row(limit)
        size = float(np.abs(line).max(initial=0.0))
        first, last = FIRST_ENDS * size, LAST_ENDS * size
        for sums in SUMS if size else ():
            halves = Halves(self.lattice, box_around(self.lattice, self.centre, sums), line)
            found, gap, sure = self._nearest_of(halves, ends, limit, way, first, last)
            if found is not None and not halves.complete and self.all_listed:
                every = Halves(self.lattice, (self.lattice.low, self.lattice.high), line)
                nearer, _, sure = self._nearest_of(every, ends, limit, way, gap / NEARER, gap)
                return nearer or found, sure
            if found is not None or halves.complete:
                return found, sure and halves.complete
        return None, False

    def _nearest_of(self, halves: Halves, ends: float, limit: Limit, way: int, first: float,
                    last: float) -> tuple[Reached | None, float, bool]:
        """The nearest of some points, within which ends a nearer one lies, and whether none of them is nearer.

        They are looked for within the first ends, then further and further, to the last.
        """
        far = first
        while far < WIDER * last and not out_of_time():
            points = halves.between(*sorted((ends, ends + way * far)))
            if points is None:
                break
            found, gap = self._judged(points, limit, way)
            if found is not None and gap > far:
                points = halves.between(*sorted((ends, ends + way * gap)))
                if points is None:
                    return found, gap, False
                found, gap = self._judged(points, limit, way)
            if found is not None:
                return found, gap, True
            far *= WIDER
        return None, last, False

    def _row(self, limit: Limit) -> tuple[Floats, float]:
        """The row of a limit by steps, and what it comes to on the bound."""
        coefficients, bound = limit.row()
        line, rest = self._by_steps(coefficients)
        return line, float(bound - rest)

    def _judged(self, points: Ints, limit: Limit, way: int) -> tuple[Reached | None, float]:
        """The point nearest to a bound, of equals the one that moves least, and within which ends a nearer one lies."""
        if not len(points):
            return None, 0.0
        above, below = (self._amounts(points, part) for part in (limit.numerator, limit.denominator))
        below += float(limit.constant)
        with np.errstate(divide="ignore", invalid="ignore"):
            off = np.abs(above / below - float(limit.bound))
        moved = np.abs(points - self.starts) @ self.grams
        for place in np.lexsort((moved, np.round(off, 12)))[:LOOKED_AT].tolist():
            values = self.whole.completed(self.lattice.values(self.whole.model, points[place].tolist()))
            weights = self.formulation.weights(values)
            value = limit.actual(weights)
            if value is not None and way * (value - limit.bound) > 0 and not limit.hollow(weights) \
                    and self.whole.model.keeps(values):
                most = self._most(limit)
                return Reached(value, weights), float(abs(value - limit.bound)) * most * (1 + 1e-9)
        return None, 0.0

    def _amounts(self, points: Ints, part: Vector) -> Floats:
        per_step, rest = self._by_steps(part)
        return np.asarray(points @ per_step + float(rest))

    def _by_steps(self, per_gram: Vector) -> tuple[Floats, Fraction]:
        """Amounts per g of each ingredient as those of a step of each weight, and what there is before any step."""
        own = [self.formulation.padded(per_gram)[place] for place in self.lattice.places]
        rest = dot(per_gram, self.formulation.fixed) + dot(own, self.bases)
        return np.array([float(amount * step) for amount, step in zip(own, self.steps, strict=True)]), rest

    def _most(self, limit: Limit) -> float:
        """The most that the quantity's denominator can be."""
        return float(self._amounts(self.lattice.high[None, :], limit.denominator)[0] + float(limit.constant))


def band_met(least: Limit, most: Limit, below: Reached | None, above: Reached | None,
             ) -> tuple[Fraction, Fraction] | None:
    """The narrowest band around the one asked for, in decimals that a cook would write, that is met."""
    places = max(DECIMALS.get(least.unit, 1), *(_decimals(limit.bound) for limit in (least, most)))
    scale = 10**places
    bands = []
    if above is not None:
        bands.append((least.bound, Fraction(math.ceil(above.value * scale), scale)))
    if below is not None:
        bands.append((Fraction(math.floor(below.value * scale), scale), most.bound))
    return min(bands, key=lambda band: band[1] - band[0], default=None)


def _decimals(value: Fraction) -> int:
    return next((places for places in range(13) if (value * 10**places).denominator == 1), 0)
