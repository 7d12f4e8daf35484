"""The basis of an optimal answer: found by the solver in doubles, then exact."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from ratio_solver.exact import ZERO, Vector
from ratio_solver.lp.elimination import solve_exactly
from ratio_solver.lp.model import Floats, LinearModel
from ratio_solver.lp.solve import Infeasible, Solution, on_face, whole_set

NEAR = 1e-6
"""Slack (rows and variables scaled) below which a row or bound is taken for tight."""
PRICED = 1e-9
SHARES = (1e-5, 1e-7, 1e-3, 0.0)
"""Weight of the second cost beside the first, tried one after the other."""


@dataclass(frozen=True, order=True)
class Mark:
    """A row ("row"), or a variable's bound ("lower", "upper"), by its place in the model."""

    kind: str
    place: int


@dataclass(frozen=True)
class Basis:
    """Tight rows, and variables held at a bound, that determine a point.

    Attributes
    ----------
    rows : tuple of int
    held : mapping of int to {"lower", "upper"}
    free : tuple of int
        Variables not held, as many as there are rows.
    """

    rows: tuple[int, ...]
    held: Mapping[int, str]
    free: tuple[int, ...]

    def point(self, model: LinearModel) -> Vector | None:
        """The point, exact; None where the rows do not determine one."""
        values = [ZERO] * len(model.variables)
        for j, at in self.held.items():
            values[j] = model.variables[j].lower if at == "lower" else model.variables[j].upper
        rest = tuple(
            model.rows[r].bound - sum((model.rows[r].coefficients[j] * values[j] for j in self.held if values[j]
                                       and model.rows[r].coefficients[j]), ZERO)
            for r in self.rows
        )
        solved = solve_exactly(self._square(model), [rest])
        if solved is None:
            return None
        for j, value in zip(self.free, solved[0], strict=True):
            values[j] = value
        return tuple(values)

    def direction(self, model: LinearModel, side: Vector) -> Vector:
        """How the point moves when the rows' bounds move by `side`."""
        solved = solve_exactly(self._square(model), [side])
        assert solved is not None
        found = [ZERO] * len(model.variables)
        for j, value in zip(self.free, solved[0], strict=True):
            found[j] = value
        return tuple(found)

    def duals(self, model: LinearModel, costs: Sequence[Vector]) -> list[Vector]:
        """For each cost the prices of the rows with which no free variable has a reduced cost."""
        square = self._square(model)
        turned: list[dict[int, Fraction]] = [{} for _ in self.free]
        for k, row in enumerate(square):
            for j, a in row.items():
                turned[j][k] = a
        solved = solve_exactly(turned, [tuple(cost[j] for j in self.free) for cost in costs])
        assert solved is not None
        return solved

    def _square(self, model: LinearModel) -> list[dict[int, Fraction]]:
        return [
            {k: a for k, j in enumerate(self.free) if (a := model.rows[r].coefficients[j])} for r in self.rows
        ]


def basis_at(model: LinearModel) -> Iterator[Basis]:
    """Bases at the solver's best answer for the first cost, ties by the second; none where it has no answer."""
    first, second = (model.float_costs * 2)[:2]
    first, second = (cost / (np.abs(cost).max(initial=0.0) or 1.0) for cost in (first, second))
    for share in SHARES:
        found = on_face(model.arrays, first + share * second, whole_set(model.arrays))
        if isinstance(found, Infeasible):
            return
        basis = _basis(model, found)
        if basis is not None:
            yield basis


def _basis(model: LinearModel, found: Solution) -> Basis | None:
    """As many independent tight rows and bounds as there are variables: those with a price first."""
    arrays = model.arrays
    size = len(model.variables)
    over = np.abs(arrays.matrix @ found.values - arrays.bound)
    spans = np.maximum(arrays.upper - arrays.lower, 1e-300)
    candidates: list[tuple[int, float, str, int]] = []
    for r in range(len(model.rows)):
        price = abs(found.row_prices[r]) * arrays.scale[r]
        if arrays.sign[r] == 0:
            candidates.append((0, -price, "row", r))
        elif price > PRICED:
            candidates.append((1, -price, "row", r))
        elif over[r] <= NEAR * (1 + abs(arrays.bound[r])):
            candidates.append((2, float(over[r]), "row", r))
    for j in range(size):
        ends = ((found.lower_prices[j], found.values[j] - arrays.lower[j], "lower"),
                (-found.upper_prices[j], arrays.upper[j] - found.values[j], "upper"))
        for price, slack, at in ends:
            if price > PRICED:
                candidates.append((1, -float(price), at, j))
            elif slack <= NEAR * min(1.0, spans[j]):
                candidates.append((2, float(slack), at, j))
    chosen = _independent(arrays.matrix, size, sorted(candidates))
    if len(chosen) < size:
        return None
    held = {place: kind for kind, place in chosen if kind != "row"}
    rows = tuple(place for kind, place in chosen if kind == "row")
    return Basis(rows, held, tuple(j for j in range(size) if j not in held))


def _independent(matrix: Floats, size: int, candidates: Sequence[tuple[int, float, str, int]]) -> list[tuple[str, int]]:
    """Candidates in their order, each only where it is independent of those before."""
    basis = np.zeros((0, size))
    chosen: list[tuple[str, int]] = []
    for _, _, kind, place in candidates:
        if len(chosen) == size:
            break
        vector = matrix[place] if kind == "row" else np.eye(1, size, place)[0]
        length = float(np.linalg.norm(vector))
        if not length:
            continue
        rest = vector / length
        for _ in range(2):  # twice is enough (Kahan)
            rest = rest - basis.T @ (basis @ rest)
        left = float(np.linalg.norm(rest))
        if left > 1e-8:
            basis = np.vstack([basis, rest / left])
            chosen.append((kind, place))
    return chosen
