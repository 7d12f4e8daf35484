"""A best point that is a corner: moving one bound moves it along a line, walked in closed form.

With as many tight rows T as free variables F and B = A[T, F] regular, the point moves by ``B^-1 e_r`` per unit
of row r, and by ``-B^-1 A[T, j]`` in F per unit of a fixed variable j, until a row or a bound stops it.

Where the row is ``(above - b below) . x >= b d - a`` the multipliers move too. With t the unit of the row,
D its divisor at the point, and v, g the multipliers and reduced costs of ``below . x`` on the same corner,
they are ``y + (t / D) y_r v`` and ``z + (t / D) y_r g`` (Sherman and Morrison 1950), until one changes its sign.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ratio_solver.lp.knobs import Knob, Side
from ratio_solver.lp.model import Arrays, Floats
from ratio_solver.lp.solve import Face, Solution

STILL = 1e-9
"""Rates of change below this (rows and moves of size 1) are rounding."""


@dataclass(frozen=True)
class Corner:
    """The corner of a face that is one point, with the multipliers that priced it.

    Attributes
    ----------
    free : ndarray of int
        Variables between their bounds.
    tight : ndarray of int
        As many rows.
    inverse : ndarray, shape (free, tight)
    """

    arrays: Arrays
    found: Solution
    free: NDArray[np.intp]
    tight: NDArray[np.intp]
    inverse: Floats

    def walk(self, knob: Knob, multiplier: float, sign: float) -> Side:
        """What moving a priced bound up or down (by the sign) does, and how far it goes on like that."""
        move, unit = self._move(knob)
        way = self._way(knob, sign * move)
        value, values = knob.value, self.found.values
        divisor = value.divisor(values)
        price = multiplier * divisor
        bend = float(value.below @ move) / unit
        if value.bent:
            way = min(way, self._priced_way(knob, sign * multiplier * unit / divisor))
        end = sign * np.inf
        if np.isfinite(way):
            reached = values + sign * way * move
            if value.divisor(reached) > STILL * divisor:
                end = value.at(reached)
        return Side(price, sign * max(sign * max(end, knob.least), sign * knob.bound), bend)

    def _move(self, knob: Knob) -> tuple[Floats, float]:
        """Direction of the point, and what it is in units of the bound's row as written."""
        move = np.zeros(len(self.arrays.lower))
        if knob.row is not None:
            move[self.free] = self.inverse[:, np.flatnonzero(self.tight == knob.row)[0]]
            return move, float(self.arrays.scale[knob.row])
        move[self.free] = -self.inverse @ self.arrays.matrix[self.tight, knob.variable]
        move[knob.variable] = 1.0
        return move, 1.0

    def _way(self, knob: Knob, move: Floats) -> float:
        """How far the point can go before another row or bound stops it."""
        arrays, values = self.arrays, self.found.values
        loose = arrays.sign != 0
        loose[self.tight] = False
        room = arrays.sign * (arrays.matrix @ values - arrays.bound)
        rates = arrays.sign * (arrays.matrix @ move)
        below, above = values - arrays.lower, arrays.ceiling - values
        bounded = np.zeros(len(values), dtype=bool)
        bounded[self.free] = True
        lower, upper = bounded.copy(), bounded
        if knob.variable is not None:
            lower[knob.variable], upper[knob.variable] = knob.sense == "<=", knob.sense == ">="
        return min(_first(room[loose], rates[loose]), _first(below[lower], move[lower]),
                   _first(above[upper], -move[upper]))

    def _priced_way(self, knob: Knob, rate: float) -> float:
        """How far the multipliers of the changing row keep their signs."""
        arrays, found, below = self.arrays, self.found, knob.value.below
        rows = self.inverse.T @ below[self.free]
        fixed = np.ones(len(below), dtype=bool)
        fixed[self.free] = False
        bounds = (below - arrays.matrix[self.tight].T @ rows)[fixed]
        signs = arrays.sign[self.tight]
        others = (signs != 0) & (self.tight != knob.row)
        prices = (found.row_prices * arrays.scale)[self.tight]
        reduced = (found.lower_prices + found.upper_prices)[fixed]
        moving = (arrays.lower < arrays.ceiling)[fixed]
        sides = np.sign(reduced)
        return min(_first((signs * prices)[others], rate * (signs * rows)[others]),
                   _first((sides * reduced)[moving], rate * (sides * bounds)[moving]))


def corner_of(arrays: Arrays, found: Solution, face: Face) -> Corner | None:
    """The corner that a face is; None where it is not one, or where more is tight than it takes."""
    free = np.flatnonzero(face.lower < face.upper)
    tight = np.flatnonzero(face.tight | (arrays.sign == 0))
    if len(free) != len(tight):
        return None
    basis = arrays.matrix[np.ix_(tight, free)]
    try:
        inverse = np.linalg.inv(basis)
    except np.linalg.LinAlgError:
        return None
    if np.abs(inverse).max(initial=0.0) > 1 / STILL:
        return None
    return Corner(arrays, found, free, tight, inverse.astype(np.float64))


def _first(room: Floats, rates: Floats) -> float:
    """Where the first of several rooms is used up."""
    falling = rates < -STILL
    return float((np.maximum(room[falling], 0.0) / -rates[falling]).min(initial=np.inf))
