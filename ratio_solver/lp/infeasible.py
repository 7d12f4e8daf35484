"""Why a model has no point: a minimal conflict, and the least by which its rows must give way."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from ratio_solver.exact import ONE, ZERO
from ratio_solver.lp.model import LinearModel, Variable

Member = TypeVar("Member")

LONGEST_SHORTFALL = Fraction(10**12)
"""A shortfall is never this large: weights end at a tonne."""

LONGEST_WHOLE_SHORTFALL = Fraction(1000)
"""Nor one by whole numbers."""


def minimal_conflict(
    members: Sequence[Member], feasible_without: Callable[[frozenset[Member]], bool]
) -> tuple[Member, ...]:
    """Deletion filter: drop members one after the other, keep those whose loss makes the rest feasible.

    Parameters
    ----------
    members : sequence
        Candidates, all together infeasible. The last are dropped first where they can be.
    feasible_without : callable
        Whether the model is feasible when these members are dropped.

    Returns
    -------
    tuple
        A conflict from which no member can be dropped, in the order of `members`.

    References
    ----------
    Chinneck JW, Dravnieks EW, Locating minimal infeasible constraint sets in linear programs,
    ORSA Journal on Computing 3 (1991) 157-168.
    """
    dropped: frozenset[Member] = frozenset()
    for member in reversed(members):
        tried = dropped | {member}
        if not feasible_without(tried):
            dropped = tried
    return tuple(member for member in members if member not in dropped)


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
