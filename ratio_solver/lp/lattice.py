"""The whole points of a model as vectors of whole numbers, with what each costs and leaves over.

A model with steps, as `solving.scale_steps` makes it, has weights that are whole numbers of steps, moves that follow
from them (``w - up + down == start``) and ones that say whether a weight is used (``most used - w >= 0``, ``sum used
<= some``). Here only the whole numbers n_j stay, w_j = base_j + step_j n_j:

    cost_k(n)  =  sum_j  linear_kj n_j  +  keep_kj |n_j - start_j|
    matrix n  >=  least,     low <= n <= high,     at most so many of some are above nothing
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from ratio_solver.exact import ZERO, Vector
from ratio_solver.lp.model import Floats, Ints, LinearModel, Row

SUM_ROUNDING = 1e-12
"""Far above the rounding of a sum of some hundred doubles, relative to the sizes of its terms."""

WIDEST = 2**40
"""Steps; a range that is wider has no end here."""


@dataclass(frozen=True)
class Lattice:
    """Whole points, in doubles with a sure bound on their error.

    Attributes
    ----------
    places : tuple of int
        Of the variables in the model.
    low, high : ndarray of int, shape (variables,)
        In steps; `low` above `high` where there is no whole point.
    matrix : ndarray, shape (rows, variables)
        Per step, each row divided by its largest coefficient.
    least, noise : ndarray, shape (rows,)
        Noise: what rounding may have made of a row, beyond which it is kept or missed for sure.
    source : ndarray of int, shape (rows,)
        Row of the model that each stands for.
    side : ndarray, shape (rows,)
        +1 where it is the row itself, -1 where it is turned round.
    scale : ndarray, shape (rows,)
        What the row of the model was divided by.
    linear, keep : ndarray, shape (costs, variables)
        Per step.
    start : ndarray, shape (variables,)
        In steps; where moves are counted from.
    nothing : ndarray of int, shape (variables,)
        The whole number that is a weight of nothing; below every other where none is.
    choices : tuple of (ndarray of int, int)
        Variables of which at most so many are above nothing.
    costed : bool
        Whether the costs are as said above; else they are nil here.
    """

    places: tuple[int, ...]
    low: Ints
    high: Ints
    matrix: Floats
    least: Floats
    noise: Floats
    source: Ints
    side: Floats
    scale: Floats
    linear: Floats
    keep: Floats
    start: Floats
    nothing: Ints
    choices: tuple[tuple[Ints, int], ...]
    costed: bool

    @property
    def empty(self) -> bool:
        """Whether a variable has no whole number at all."""
        return bool((self.low > self.high).any())

    def multipliers(self, prices: Sequence[float]) -> Floats:
        """The prices of the model's rows, a unit of a row here; those that have the wrong sign are nil."""
        if not len(prices):
            return np.zeros(len(self.least))
        return np.maximum(0.0, np.asarray(prices)[self.source] * self.side) * self.scale

    def chosen(self, points: Ints) -> Ints:
        """Those of some points that use no more of anything than its choice allows."""
        for members, count in self.choices:
            points = points[(points[:, members] > self.nothing[members]).sum(axis=1) <= count]
        return points

    def values(self, model: LinearModel, point: Sequence[int]) -> Vector:
        """The weights of a whole point in the places of the model's variables; nothing in the others."""
        found = [ZERO] * len(model.variables)
        for place, n in zip(self.places, point, strict=True):
            variable = model.variables[place]
            found[place] = variable.base + n * (variable.step or ZERO)
        return tuple(found)


def lattice_of(model: LinearModel, count: int) -> Lattice | None:
    """The whole points of a model, by its first `count` variables.

    The values of the other variables follow from those. None where there are none, or one of them has no step.
    """
    mains = list(range(count))
    if not mains or any(model.variables[j].step is None for j in mains):
        return None
    column = {place: k for k, place in enumerate(mains)}
    moves, ties, rest = moves_and_ties(model, column)
    chosen = {used: column[weight] for used, weight in ties.items()}
    boxed, rows, choices = _Box(model, mains), list[tuple[int, Row]](), list[tuple[Ints, int]]()
    for place in rest:
        row = model.rows[place]
        entries = row.slack.entries
        if all(j in column for j, _ in entries):
            if len(entries) == 1:
                boxed.narrow(column[entries[0][0]], row)
            elif entries or _missed(row):
                rows.append((place, row))
        elif all(j in chosen and row.coefficients[j] == 1 for j, _ in entries) and row.sense == "<=":
            choices.append((np.array([chosen[j] for j, _ in entries]), math.floor(row.bound)))
        # what else there is follows from the whole numbers, and is checked in rationals with all the rest
    known = set(column) | set(moves) | set(ties)
    costed = not any(c and (j not in known or j in ties) for cost in model.costs for j, c in enumerate(cost))
    steps = np.array([float(model.variables[j].step or 1) for j in mains])
    bases = [model.variables[j].base for j in mains]
    low, high = boxed.ends()
    matrix, least, noise, source, side, scale = _rows(rows, mains, model, np.maximum(np.abs(low), np.abs(high)))
    linear, keep = np.zeros((len(model.costs), len(mains))), np.zeros((len(model.costs), len(mains)))
    starts = np.zeros(len(mains))
    for k, cost in enumerate(model.costs if costed else ()):
        for j, c in enumerate(cost):
            if c and j in column:
                linear[k, column[j]] += float(c) * steps[column[j]]
            elif c and j in moves:
                keep[k, moves[j][0]] = float(c) * steps[moves[j][0]]
    for main, start in moves.values():
        starts[main] = float((start - bases[main]) / (model.variables[mains[main]].step or 1))
    nothing = np.array([-int(b // (model.variables[j].step or 1)) if not b % (model.variables[j].step or 1)
                        else np.iinfo(np.int64).min for j, b in zip(mains, bases, strict=True)], dtype=np.int64)
    return Lattice(tuple(mains), low, high, matrix, least, noise, source, side, scale, linear, keep, starts, nothing,
                   tuple(choices), costed)


def moves_and_ties(model: LinearModel, column: Mapping[int, int],
            ) -> tuple[dict[int, tuple[int, Fraction]], dict[int, int], list[int]]:
    """Variables that are a move (their main one, and its start) or say what is used, and the rows that remain."""
    moves: dict[int, tuple[int, Fraction]] = {}
    ties: dict[int, int] = {}
    rest = []
    for place, row in enumerate(model.rows):
        entries = row.slack.entries
        own = [j for j, _ in entries if j in column]
        others = [j for j, _ in entries if j not in column]
        if row.sense == "==" and len(own) == 1 and len(others) == 2 and row.coefficients[own[0]] == 1 and sorted(
                row.coefficients[j] for j in others) == [-1, 1] and not moves.keys() & set(others):
            moves |= dict.fromkeys(others, (column[own[0]], row.bound))
        elif (len(own) == 1 and len(others) == 1 and model.variables[others[0]].choice and row.sense == ">="
              and row.coefficients[own[0]] == -1 and row.bound == 0 and row.coefficients[others[0]] > 0):
            ties[others[0]] = own[0]
        else:
            rest.append(place)
    return moves, ties, rest


def _missed(row: Row) -> bool:
    """Whether a row without entries cannot be kept."""
    return row.slack.constant < 0 or (row.sense == "==" and row.slack.constant != 0)


class _Box:
    """Bounds in steps, narrowed by rows over one variable; exact."""

    def __init__(self, model: LinearModel, mains: Sequence[int]) -> None:
        self.variables = [model.variables[j] for j in mains]
        self.mains = mains
        self.low = [v.lower for v in self.variables]
        self.high = [v.upper for v in self.variables]

    def narrow(self, main: int, row: Row) -> None:
        a = row.coefficients[self.mains[main]]
        end = row.bound / a
        if row.sense == "==" or (row.sense == ">=") == (a > 0):
            self.low[main] = max(self.low[main], end)
        if row.sense == "==" or (row.sense == ">=") != (a > 0):
            self.high[main] = min(self.high[main], end)

    def ends(self) -> tuple[Ints, Ints]:
        low = [math.ceil((end - v.base) / (v.step or 1)) for end, v in zip(self.low, self.variables, strict=True)]
        high = [math.floor((end - v.base) / (v.step or 1)) for end, v in zip(self.high, self.variables, strict=True)]
        return (np.array([max(-WIDEST, n) for n in low], dtype=np.int64),
                np.array([min(WIDEST, n) for n in high], dtype=np.int64))


def _rows(rows: Sequence[tuple[int, Row]], mains: Sequence[int], model: LinearModel, reach: Ints,
          ) -> tuple[Floats, Floats, Floats, Ints, Floats, Floats]:
    """Rows as ``matrix n >= least``; an equation is two."""
    column = {j: k for k, j in enumerate(mains)}
    found: list[tuple[Floats, float, int, float, float]] = []
    for place, row in rows:
        line, bound = np.zeros(len(mains)), row.bound
        for j, _ in row.slack.entries:
            variable, a = model.variables[j], row.coefficients[j]
            line[column[j]] = float(a * (variable.step or 1))
            bound -= a * variable.base
        scale = float(np.abs(line).max(initial=0.0)) or 1.0
        sides = {">=": (1.0,), "<=": (-1.0,), "==": (1.0, -1.0)}[row.sense]
        found += [(side * line / scale, side * float(bound) / scale, place, side, scale) for side in sides]
    matrix = np.array([one[0] for one in found]).reshape(len(found), len(mains))
    least = np.array([one[1] for one in found])
    noise = SUM_ROUNDING * (np.abs(least) + np.abs(matrix) @ reach + 1e-300)
    return (matrix, least, noise, np.array([one[2] for one in found], dtype=np.int64),
            np.array([one[3] for one in found]), np.array([one[4] for one in found]))
