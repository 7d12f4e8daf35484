"""Figures of a menu's tables: each is the exact value rounded once, to `DECIMALS`.

The arrays hold doubles; a double whose error leaves the last digit open is reported as unsure.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from ratio_solver.dish.notices import not_known
from ratio_solver.lp.bounded_vertices import UNIT
from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools, Ints

DECIMALS = 6
"""Decimals of every computed figure in a menu's tables, half to even."""

MICRO = 10**DECIMALS


def printed(value: Fraction | float | None) -> float | None:
    """One figure as the tables give it.

    >>> printed(Fraction(2, 3))
    0.666667
    """
    return None if value is None else float(round(Fraction(value), DECIMALS))


def printed_all(values: Floats, error: Floats) -> tuple[Floats, Bools]:
    """Many figures as the tables give them, and where the error leaves the last digit open."""
    scaled = values * MICRO
    whole = np.rint(scaled)
    unsure = np.abs(np.abs(scaled - whole) - 0.5) <= (error + 4 * UNIT * np.abs(values)) * MICRO
    return whole / MICRO + 0.0, unsure


def allergens_cell(known: Sequence[str], unknown: Sequence[str] = ()) -> str:
    """Allergens of a dish in a cell that never looks like none where something is unknown.

    Parameters
    ----------
    known : sequence of str
        Allergens of the ingredients that are used.
    unknown : sequence of str
        Labels of the used ingredients of which nobody has told all.

    >>> allergens_cell(["eggs", "milk"], ["lupin meal"]), allergens_cell([])
    ('eggs; milk; not known for lupin meal: read the label', 'none known')
    """
    return "; ".join((*known, *((not_known(unknown),) if unknown else ()))) or "none known"


def quotient(above: Ints, below: Ints) -> Floats:
    """Figures that are quotients of whole numbers, exactly rounded (half to even)."""
    scaled_down, rest = np.divmod(above, below)
    twice = 2 * rest
    up = (twice > below) | ((twice == below) & (scaled_down % 2 == 1))
    return np.asarray((scaled_down + up) / MICRO + 0.0)
