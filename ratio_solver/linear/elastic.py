"""Rows that may give way at a price: the least that must give, and a proof that something must."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from ratio_solver.linear.certificate import dual_bound
from ratio_solver.linear.model import Floats, LinearModel, Row, Variable
from ratio_solver.linear.solve import Solution, solve_lp

ZERO, ONE = Fraction(0), Fraction(1)

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


def proven_infeasible(model: LinearModel, most: int = 64) -> bool:
    """Whether exact arithmetic shows that the model has no point.

    A model with steps is split in two at a stepped variable until every part is shown to have none.

    Parameters
    ----------
    model : LinearModel
        With rows >= and <= alone.
    most : int
        Parts looked at before the proof is given up.
    """
    parts = [model]
    for _ in range(most):
        part = parts.pop()
        values = _point_unless_proven(part)
        if values is not None:
            halves = _halves(part, values)
            if not halves:
                return False
            parts += halves
        if not parts:
            return True
    return False


def _point_unless_proven(model: LinearModel) -> Floats | None:
    """None where no point exists, steps or not; else the point with the least total shortfall.

    The multipliers of the least total shortfall are those of Farkas (1902): the bound that they give on the
    cost "nothing" is above zero only where no point exists. Each row counts in units of its largest coefficient.
    """
    scaled = LinearModel(model.variables, tuple(map(_scaled, model.rows)), ())
    found = solve_lp(elastic(scaled, dict.fromkeys(range(len(model.rows)), ONE)))
    assert isinstance(found, Solution), "every row may give way"
    nothing = (ZERO,) * len(model.variables)
    proven = dual_bound(scaled, nothing, [float(price) for price in found.row_prices]) > 0
    return None if proven else found.values


def _halves(model: LinearModel, values: Floats) -> tuple[LinearModel, ...]:
    """The model split at the stepped variable that is farthest from its steps; nothing where all are settled."""
    open_ones = [
        (abs(value - round(value)), place)
        for place, variable in enumerate(model.variables)
        if variable.step is not None and variable.lower < variable.upper
        for value in [float(values[place]) / float(variable.step)]
    ]
    if not open_ones:
        return ()
    _, place = max(open_ones)
    low, high, step = (model.variables[place].lower, model.variables[place].upper,
                       model.variables[place].step or ONE)
    middle = low + step * ((high - low) / step // 2)
    return (model.with_bounds({place: (low, middle)}), model.with_bounds({place: (middle + step, high)}))


def _scaled(row: Row) -> Row:
    size = max((abs(a) for a in row.coefficients), default=ZERO) or ONE
    return replace(row, coefficients=tuple(a / size for a in row.coefficients), bound=row.bound / size)
