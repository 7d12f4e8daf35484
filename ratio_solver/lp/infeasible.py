"""Why a model has no point: a minimal conflict, and the least by which its rows must give way."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

import numpy as np

from ratio_solver.errors import NotProven
from ratio_solver.exact import ONE, ZERO, Vector
from ratio_solver.lp import highs
from ratio_solver.lp.certificate import dual_bound
from ratio_solver.lp.model import LinearModel, Variable

Member = TypeVar("Member")

LARGE = 100
"""Rows from which a proof that a model has no point is first looked for by multipliers in doubles."""

NO_PRICE = 1e-9
"""A multiplier of a scaled row below this is left out of a proof."""

LONGEST_SHORTFALL = Fraction(10**12)
"""A shortfall is never this large: weights end at a tonne."""

LONGEST_WHOLE_SHORTFALL = Fraction(1000)
"""Nor one by whole numbers."""


def minimal_conflict(
    members: Sequence[Member], proof_without: Callable[[frozenset[Member]], Collection[Member] | None]
) -> tuple[Member, ...]:
    """Deletion filter: drop members one after the other, keep those whose loss makes the rest feasible.

    What no part is of the proof that the rest is infeasible is dropped without being tried.

    Parameters
    ----------
    members : sequence
        Candidates, all together infeasible. The last are dropped first where they can be.
    proof_without : callable
        Members that no point keeps together when these are dropped, as many as may be; None where the rest is feasible.

    Returns
    -------
    tuple
        A conflict from which no member can be dropped, in the order of `members`.

    References
    ----------
    Chinneck JW, Dravnieks EW, Locating minimal infeasible constraint sets in linear programs,
    ORSA Journal on Computing 3 (1991) 157-168.
    """
    dropped, proof = frozenset[Member](), frozenset(members)
    for member in reversed(members):
        if member in proof:
            found = proof_without(dropped | {member})
            if found is None:
                continue
            proof = frozenset(found)
        dropped |= {member}
    return tuple(member for member in members if member not in dropped)


def impossible_rows(model: LinearModel) -> frozenset[int] | None:
    """Rows that together with the bounds of the variables no point keeps, proven in exact arithmetic.

    The least total shortfall, in doubles, has multipliers; with these, whatever they are worth, weak duality bounds the
    least shortfall from below, and a bound above 0 shows that it is not 0 (Farkas 1902). The rows are those with a
    multiplier.

    Parameters
    ----------
    model : LinearModel
        Its steps are left out.

    Returns
    -------
    frozenset of int or None
        Places of rows; None where nothing is shown: there may be a point, or the doubles were not worth enough.
    """
    found = _least_shortfall(model)
    if found is None:
        return None
    prices: list[float] = (np.array(found) / model.arrays.scale).tolist()
    if dual_bound(replace(model, costs=((ZERO,) * len(model.variables),)), prices) <= 0:
        return None
    return frozenset(place for place, price in enumerate(prices) if price)


def _least_shortfall(model: LinearModel) -> list[float] | None:
    """The multipliers of the scaled rows where the total shortfall is the least; None where the solver gives up."""
    arrays = model.arrays
    count, rows = len(model.variables), len(model.rows)
    more, less = (np.flatnonzero(arrays.sign * way >= 0) for way in (1, -1))
    gives = np.zeros((rows, len(more) + len(less)))
    gives[more, np.arange(len(more))] = 1.0
    gives[less, len(more) + np.arange(len(less))] = -1.0
    cost = np.append(np.zeros(count), np.ones(gives.shape[1]))
    lower = np.append(arrays.lower, np.zeros(gives.shape[1]))
    upper = np.append(arrays.upper, np.full(gives.shape[1], np.inf))
    with suppress(NotProven):
        found = highs.linear(cost, np.hstack((arrays.matrix, gives)), arrays.bound, arrays.sign, lower, upper)
        if found is not None:
            cleaned: list[float] = np.where(np.abs(found.row_prices) > NO_PRICE, found.row_prices, 0.0).tolist()
            return cleaned
    return None


def best_in_doubles(model: LinearModel) -> Vector | None:
    """The best point as the solver has it, for whoever checks it: a programme of very many rows takes long exactly."""
    arrays = model.arrays
    ceiling = np.where(arrays.upper >= float(LONGEST_SHORTFALL), np.inf, arrays.ceiling)
    with suppress(NotProven):
        found = highs.linear(model.float_costs[0], arrays.matrix, arrays.bound, arrays.sign, arrays.lower, ceiling)
        if found is not None:
            return tuple(map(Fraction, found.values.tolist()))
    return None


def elastic(
    model: LinearModel, prices: Mapping[int, Fraction], whole: frozenset[int], most: Fraction | None,
) -> LinearModel:
    """The model in which some rows may be missed, each unit at its price; nothing else costs.

    Parameters
    ----------
    model : LinearModel
    prices : mapping of int to Fraction
        Place of a row (>= or <=) to what a unit of shortfall costs.
    whole : frozenset of int
        Rows that may be missed by whole numbers only.
    most : Fraction or None
        What the shortfall of one row may cost; a search on steps is the faster for it.

    Returns
    -------
    LinearModel
        With one more variable at the end for each row of `prices`, in its order: the shortfall.
    """
    rows = tuple(
        replace(row, coefficients=(*row.coefficients, *(
            ZERO if place != missed else ONE if row.sense == ">=" else -ONE for missed in prices)))
        for place, row in enumerate(model.rows))
    shortfalls = [
        Variable(f"{model.rows[row].name} short", ZERO,
                 LONGEST_WHOLE_SHORTFALL if row in whole else LONGEST_SHORTFALL if most is None else most / price,
                 step=ONE if row in whole else None)
        for row, price in prices.items()
    ]
    return LinearModel((*model.variables, *shortfalls), rows, ((*[ZERO] * len(model.variables), *prices.values()),))
