"""Solve square linear systems in rationals, exactly; sparse rows."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from ratio_solver.exact import Vector

Row = dict[int, Fraction]


def solve_exactly(rows: Sequence[Row], sides: Sequence[Vector]) -> list[Vector] | None:
    """Solve ``A x = s`` for every s in `sides`; None where A is singular.

    Parameters
    ----------
    rows : sequence of dict, n
        Non-zero coefficients of each row by column, 0 .. n-1.
    sides : sequence of tuple, each of n
        Right-hand sides.

    Returns
    -------
    list of tuple
        One solution for each side.
    """
    size = len(rows)
    left = [dict(row) for row in rows]
    right = [[side[k] for side in sides] for k in range(size)]
    open_rows = set(range(size))
    pivots: list[tuple[int, int]] = []
    while open_rows:
        place = min(open_rows, key=lambda k: (len(left[k]), k))
        if not left[place]:
            return None
        column = min(left[place], key=lambda c: (sum(c in left[k] for k in open_rows), c))
        open_rows.remove(place)
        pivots.append((place, column))
        for k in open_rows:
            factor = left[k].get(column)
            if factor:
                _subtract(left[k], right[k], left[place], right[place], factor / left[place][column])
    found = [[Fraction(0)] * size for _ in sides]
    for place, column in reversed(pivots):
        for s, solution in enumerate(found):
            known = sum((a * solution[c] for c, a in left[place].items() if c != column), Fraction(0))
            solution[column] = (right[place][s] - known) / left[place][column]
    return [tuple(solution) for solution in found]


def _subtract(row: Row, side: list[Fraction], pivot: Row, pivot_side: list[Fraction], factor: Fraction) -> None:
    for column, a in pivot.items():
        value = row.get(column, 0) - factor * a
        if value:
            row[column] = value
        else:
            row.pop(column, None)
    for s, b in enumerate(pivot_side):
        if b:
            side[s] -= factor * b
