"""Rows that may give way at a price: the least that must give, and a proof that something must."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from ratio_solver.linear.certificate import dual_bound
from ratio_solver.linear.model import LinearModel, Row, Variable
from ratio_solver.linear.solve import Infeasible, solve_lp

ZERO, ONE = Fraction(0), Fraction(1)

ENDLESS = Fraction(10**12)
"""A shortfall is never this large: weights end at a tonne."""


def elastic(model: LinearModel, prices: Mapping[int, Fraction], whole: frozenset[int] = frozenset()) -> LinearModel:
    """The model in which some rows may be missed, each unit at its price; nothing else costs.

    Parameters
    ----------
    model : LinearModel
    prices : mapping of int to Fraction
        Place of a row (>= or <=) to what a unit of shortfall costs.
    whole : frozenset of int
        Rows that may be missed by whole numbers only.

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
        Variable(f"{model.rows[row].name} short", ZERO, Fraction(1000) if row in whole else ENDLESS,
                 step=ONE if row in whole else None)
        for row in prices
    ]
    cost = (*[ZERO] * count, *prices.values())
    return LinearModel((*model.variables, *shortfalls), tuple(rows), (cost,))


def proven_infeasible(model: LinearModel) -> bool:
    """Whether exact arithmetic shows that the model has no point, steps or not.

    The multipliers of the least total shortfall are those of Farkas (1902): the bound that they give on the
    cost "nothing" is above zero only where no point exists. Each row counts in units of its largest coefficient.
    """
    sized = [row for row in model.rows if row.sense != "=="]
    scaled = LinearModel(model.variables, tuple(_scaled(row) for row in sized), ())
    found = solve_lp(elastic(scaled, dict.fromkeys(range(len(sized)), ONE)))
    if isinstance(found, Infeasible):
        return False
    nothing = (ZERO,) * len(model.variables)
    return dual_bound(scaled, nothing, [float(price) for price in found.row_prices]) > 0


def _scaled(row: Row) -> Row:
    size = max((abs(a) for a in row.coefficients), default=ZERO) or ONE
    return replace(row, coefficients=tuple(a / size for a in row.coefficients), bound=row.bound / size)
