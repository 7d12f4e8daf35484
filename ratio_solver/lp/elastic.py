"""Rows that may give way at a price: the least that must give."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from ratio_solver.exact import ONE, ZERO
from ratio_solver.lp.model import LinearModel, Variable

ENDLESS = Fraction(10**12)
"""A shortfall is never this large: weights end at a tonne."""


def elastic(
    model: LinearModel, prices: Mapping[int, Fraction], whole: frozenset[int] = frozenset(),
    most: Fraction | None = None,
) -> LinearModel:
    """The model in which some rows may be missed, each unit at its price; nothing else costs.

    Parameters
    ----------
    model : LinearModel
    prices : mapping of int to Fraction
        Place of a row (>= or <=) to what a unit of shortfall costs.
    whole : frozenset of int
        Rows that may be missed by whole numbers only.
    most : Fraction, optional
        What the shortfall of one row may cost; a search on steps is the faster for it.

    Returns
    -------
    LinearModel
        With one more variable at the end for each row of `prices`, in its order: the shortfall.
    """
    count = len(model.variables)
    place_of = {row: count + k for k, row in enumerate(prices)}
    rows = []
    for place, row in enumerate(model.rows):
        added = [ZERO] * len(prices)
        if place in place_of:
            added[place_of[place] - count] = ONE if row.sense == ">=" else -ONE
        rows.append(replace(row, coefficients=(*row.coefficients, *added)))
    shortfalls = [
        Variable(f"{model.rows[row].name} short", ZERO, _longest(row in whole, price, most),
                 step=ONE if row in whole else None)
        for row, price in prices.items()
    ]
    cost = (*[ZERO] * count, *prices.values())
    return LinearModel((*model.variables, *shortfalls), tuple(rows), (cost,))


def _longest(whole: bool, price: Fraction, most: Fraction | None) -> Fraction:
    """Upper bound of a shortfall."""
    if whole:
        return Fraction(1000)
    return ENDLESS if most is None else most / price
