"""The exact check accepts what is right and rejects what is a little wrong."""

from __future__ import annotations

from fractions import Fraction

import pytest

from ratio_solver.lp.certificate import certify, dual_bound
from ratio_solver.lp.infeasible import minimal_conflict
from ratio_solver.lp.model import LinearModel, Mark, Row, Variable
from ratio_solver.lp.solve import solve_lp


def model(steps: bool = False) -> LinearModel:
    """min 3x + 2y, x + y >= 4, x - y <= 2, 0 <= x, y <= 3: by hand x = 1, y = 3, cost 9, price of the first 3."""
    step = Fraction(1) if steps else None
    variables = tuple(Variable(name, Fraction(0), Fraction(3), step) for name in ("x", "y"))
    rows = (Row("sum", (Fraction(1), Fraction(1)), ">=", Fraction(4)),
            Row("difference", (Fraction(1), Fraction(-1)), "<=", Fraction(2)))
    return LinearModel(variables, rows, ((Fraction(3), Fraction(2)),))


def test_solution_by_hand() -> None:
    found = solve_lp(model())
    assert found is not None
    assert found.values == (1, 3)
    assert found.row_prices == [3, 0]
    assert [found.marginals.get(Mark("upper", place), 0) for place in (0, 1)] == [0, -1]


def test_certificate_proves_the_optimum_and_nothing_else() -> None:
    prices = [3.0, 0.0]
    right = certify(model(), (Fraction(1), Fraction(3)), prices)
    assert (right.shortfall, right.gap) == (0, 0)
    assert right.holds(Fraction(0))
    dearer = certify(model(), (Fraction(2), Fraction(2)), prices)
    assert dearer.gap == 1 and not dearer.holds()
    short = certify(model(), (Fraction(99, 100), Fraction(3)), prices)
    assert short.worst == "sum" and short.shortfall == Fraction(1, 100) and not short.holds()
    outside = certify(model(), (Fraction(1), Fraction(301, 100)), prices)
    assert outside.worst == "y" and not outside.holds()


@pytest.mark.parametrize("prices", [(0, 0), (1, 0), (2.5, -1), (-4, 3), (4, 3), (100, -100)])
def test_any_multipliers_bound_the_cost_from_below(prices: tuple[float, float]) -> None:
    assert dual_bound(model(), prices) <= 9


def test_steps_by_hand() -> None:
    found = solve_lp(model(steps=True))
    assert found is not None
    assert found.values == (1, 3)
    assert [(v.lower, v.upper) for v in found.model.variables] == [(1, 1), (3, 3)]


def test_conflict_is_minimal() -> None:
    """Sets {1, 4} and {2, 3, 5} are the only conflicts; the last members are given up first."""
    def conflicts(dropped: frozenset[int]) -> list[set[int]]:
        return [conflict for conflict in ({1, 4}, {2, 3, 5}) if not conflict & dropped]

    tried = []

    def proof(dropped: frozenset[int]) -> set[int] | None:
        tried.append(dropped)
        return next(iter(conflicts(dropped)), None)

    def everything(dropped: frozenset[int]) -> set[int] | None:
        return set(range(1, 7)) - dropped if conflicts(dropped) else None

    assert minimal_conflict(range(1, 7), proof) == minimal_conflict(range(1, 7), everything) == (1, 4)
    assert len(tried) == 3  # 6, of all; then 4 and 1, of the proof
