"""A point on the steps without a search: a linear programme that stays clear of the rows, and rounding."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np

from ratio_solver.exact import Vector
from ratio_solver.lp.model import Arrays, Floats
from ratio_solver.lp.search import WholeModel
from ratio_solver.lp.solve import Solution, on_face, whole_set

COARSE = 4.0
"""Variables whose step is so many times the finest are rounded first, and the others found around them."""


def rounded_point(whole: WholeModel) -> Vector | None:
    """A whole point that keeps every row exactly; None where rounding finds none, which proves nothing.

    Rounding moves a variable by half its step at most. The programme keeps as large a share of what that can do to a
    row clear of it as all rows allow. What comes out is checked in rationals.
    """
    model, arrays = whole.model, whole.model.arrays
    stepped = np.array([v.step is not None for v in model.variables])
    steps = np.array([1.0 if v.step is None else float(v.step) for v in model.variables])
    bases = np.array([float(v.base) for v in model.variables])
    lower = np.where(stepped, bases + np.ceil((arrays.lower - bases) / steps - 1e-9) * steps, arrays.lower)
    upper = np.where(stepped, bases + np.floor((arrays.upper - bases) / steps + 1e-9) * steps, arrays.upper)
    if (lower > upper).any() or not stepped.any():
        return None
    halves = np.where(stepped, steps / 2, 0.0)
    coarse = stepped & (steps > COARSE * steps[stepped].min()) & (lower < upper)
    found = _clearest(replace(arrays, lower=lower, upper=upper), halves)
    point = None if found is None else _rounded(whole, found)
    if point is None and found is not None and coarse.any():
        pinned = bases + np.round((found - bases) / steps) * steps
        lower, upper = np.where(coarse, pinned, lower), np.where(coarse, pinned, upper)
        found = _clearest(replace(arrays, lower=lower, upper=upper), np.where(coarse, 0.0, halves))
        point = None if found is None else _rounded(whole, found)
    return point


def _rounded(whole: WholeModel, found: Floats) -> Vector | None:
    """The whole point nearest to another, where it keeps every row."""
    values = whole.completed(tuple(
        Fraction(value) if v.step is None else v.base + round((Fraction(value) - v.base) / v.step) * v.step
        for v, value in zip(whole.model.variables, found.tolist(), strict=True)
    ))
    return values if whole.kept(values) else None


def _clearest(arrays: Arrays, halves: Floats) -> Floats | None:
    """The point that keeps the largest share (up to all) of its rounding clear of every row; None without any."""
    margin = -arrays.sign * (np.abs(arrays.matrix) @ halves)
    wider = replace(
        arrays, matrix=np.column_stack((arrays.matrix, margin)), lower=np.append(arrays.lower, 0.0),
        upper=np.append(arrays.upper, 1.0), open=np.append(arrays.open, False))
    found = on_face(wider, np.append(np.zeros(len(halves)), -1.0), whole_set(wider))
    return found.values[:-1] if isinstance(found, Solution) else None
