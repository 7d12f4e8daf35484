"""Ranges and prices of small models whose answers are reckoned by hand, and of one way against the other."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from ratio_solver import Proposal, solve
from ratio_solver.lp import ranging
from ratio_solver.lp.blocks import Block, minimise
from ratio_solver.lp.extremes import extremes, is_point
from ratio_solver.lp.knobs import Knob, Quotient, Side, Sides
from ratio_solver.lp.model import LinearModel, Row, Variable
from ratio_solver.lp.ranging import prices
from ratio_solver.lp.solve import Solution, narrowed, solve_lp, whole_set
from tests.kitchen import drawn

INFINITE = float("inf")


def fractions(*values: float) -> tuple[Fraction, ...]:
    return tuple(Fraction(str(value)) for value in values)


def model(cost: tuple[float, ...], *rows: tuple[tuple[float, ...], str, float], most: float = 3) -> LinearModel:
    variables = tuple(Variable(f"x{k}", Fraction(0), Fraction(str(most))) for k in range(len(cost)))
    return LinearModel(variables, tuple(
        Row(f"row {k}", fractions(*coefficients), sense, Fraction(str(bound)))
        for k, (coefficients, sense, bound) in enumerate(rows)
    ), (fractions(*cost),))


def sides_of(problem: LinearModel, *knobs: Knob) -> list[Sides]:
    found = solve_lp(problem)
    assert isinstance(found, Solution)
    return prices(problem.arrays, problem.float_costs[0], found, knobs)


def row_knob(problem: LinearModel, row: int) -> Knob:
    coefficients = np.array([float(a) for a in problem.rows[row].coefficients])
    value = Quotient(coefficients, 0.0, np.zeros(len(coefficients)), 1.0)
    return Knob(problem.rows[row].sense, float(problem.rows[row].bound), value, row=row)


def bound_knob(problem: LinearModel, variable: int, sense: str) -> Knob:
    unit = np.eye(len(problem.variables))[variable]
    bound = problem.variables[variable].upper if sense == "<=" else problem.variables[variable].lower
    return Knob(sense, float(bound), Quotient(unit, 0.0, 0 * unit, 1.0), variable=variable, least=0.0)


def near(side: Side | None) -> tuple[object, object]:
    assert side is not None
    return pytest.approx(side.price), pytest.approx(side.until)


def test_a_corner_by_hand() -> None:
    """min 3x + 2y, x + y >= 4, x - y <= 2, x, y <= 3: x = 1, y = 3; the sum may be 3 (x = 0) to 6 (x = 3)."""
    problem = model((3, 2), ((1, 1), ">=", 4), ((1, -1), "<=", 2))
    total, difference, most = sides_of(problem, row_knob(problem, 0), row_knob(problem, 1),
                                       bound_knob(problem, 1, "<="))
    assert near(total.more) == (3, 6) and near(total.less) == (3, 3)
    assert near(difference.more) == (0, INFINITE) and near(difference.less) == (0, -2)
    # y at most 3: more saves 1 until x = 0 at y = 4; less costs 1 until x = 3 or x - y = 2 (x = 3, y = 1)
    assert near(most.more) == (-1, 4) and near(most.less) == (-1, 1)


def test_a_kink_has_a_price_to_each_side() -> None:
    """min x + 3y, x + y >= 3, x <= 3: the first 3 cost 1 each, any more cost 3 each, up to 6."""
    problem = model((1, 3), ((1, 1), ">=", 3))
    [total] = sides_of(problem, row_knob(problem, 0))
    assert near(total.more) == (3, 6)
    assert near(total.less) == (1, 0)


def test_a_bound_that_cannot_be_moved_has_no_price_there() -> None:
    """x + y >= 6 with x, y <= 3 leaves one point: more is impossible, and each of the last costs 3."""
    problem = model((1, 3), ((1, 1), ">=", 6))
    total, first, second = sides_of(problem, row_knob(problem, 0), bound_knob(problem, 0, "<="),
                                    bound_knob(problem, 1, "<="))
    assert total.more is None and near(total.less) == (3, 3)
    assert first.less is None and near(first.more) == (-2, 6)
    assert second.less is None and near(second.more) == (0, INFINITE)


def test_a_quotient_by_hand() -> None:
    """min x, (10 + x) / (4 + x/10) >= 4: x = (16 - 10) / (1 - 0.4) = 10; in general x = (4 b - 10) / (1 - b / 10).

    So dx/db = 4 / (1 - b/10) + (4b - 10) / 10 / (1 - b/10)^2 = 8.333; from x = 0 (b = 2.5) to x = 30 (b = 40/7).
    """
    problem = model((1,), ((1 - 0.4,), ">=", 6), most=30)
    [sides] = sides_of(problem, Knob(">=", 4.0, Quotient(np.array([1.0]), 10.0, np.array([0.1]), 4.0), row=0))
    assert near(sides.more) == (25 / 3, 40 / 7) and near(sides.less) == (25 / 3, 2.5)
    assert sides.more is not None and sides.less is not None
    for b in (2.6, 3.0, 5.0, 5.7):
        side = sides.more if b > 4 else sides.less
        assert side.change(b - 4) == pytest.approx((4 * b - 10) / (1 - b / 10) - 10)


def test_a_quotient_whose_best_mix_changes() -> None:
    """Two fats at a cost of 1 and c: which is cheaper for the ratio b depends on b itself.

    Per unit x brings 1 - 0.1 b for 1, y brings 0.8 for 1.25: x is better below b where (1 - 0.1 b) = 0.64, 3.6.
    """
    problem = model((1, 1.25), ((1 - 0.1 * 3, 0.8), ">=", 7), most=100)
    [sides] = sides_of(problem, Knob(">=", 3.0, Quotient(np.array([1.0, 0.8]), 5.0, np.array([0.1, 0.0]), 4.0), row=0))
    assert sides.more is not None and sides.more.until == pytest.approx(3.6)
    assert sides.less is not None and sides.less.until == pytest.approx(1.25)  # 5 / 4: then no fat is needed


def test_ends_of_a_face_and_its_points() -> None:
    """min x + y, x + y >= 4, x, y <= 3: either from 1 to 3; all feasible answers too."""
    problem = model((1, 1), ((1, 1), ">=", 4))
    found = solve_lp(problem)
    assert isinstance(found, Solution)
    face = narrowed(problem.arrays, problem.float_costs[0], found, whole_set(problem.arrays))
    assert not is_point(problem.arrays, face)
    for searched in (face, whole_set(problem.arrays)):
        lowest, highest = extremes([(problem.arrays, searched)], [found.values])
        assert lowest == pytest.approx([1, 1]) and highest == pytest.approx([3, 3])


def test_blocks_do_not_disturb_each_other() -> None:
    def block(cost: float, least: float) -> Block:
        return Block(np.array([cost]), np.array([[1.0]]), np.array([least]), np.array([5.0]), np.zeros(1),
                     np.full(1, 9.0))

    found = minimise([block(1, 2), block(-1000, 2), block(1, 6), block(-1, 0), block(1, 7)])
    assert [None if point is None else float(point[0]) for point in found] == [2, 5, None, 5, None]
    assert minimise([]) == []


def test_walking_and_solving_agree(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Corners in closed form against the linear and linear-fractional programmes that serve where there is none."""
    walked = 0
    for seed in range(2500, 2530):
        _, _, recipe = drawn(seed, tmp_path)
        answer = solve(recipe, exact=True)
        with monkeypatch.context() as patch:
            patch.setattr(ranging, "corner_of", lambda *_: None)
            other = solve(recipe, exact=True)
        if isinstance(answer, Proposal) and isinstance(other, Proposal):
            for one, two in zip(answer.limits, other.limits, strict=True):
                assert (one.price is None) == (two.price is None), (seed, one, two)
                assert (one.price or 0) == pytest.approx(two.price or 0, rel=1e-6, abs=1e-9), (seed, one, two)
                for end in ("holds_from", "holds_to"):
                    walk, solved = getattr(one, end), getattr(two, end)
                    assert (walk is None) == (solved is None), (seed, one, two)
                    assert walk is None or walk == pytest.approx(solved, rel=2e-5, abs=2e-5), (seed, one, two)
                walked += bool(one.price)
    assert walked > 60
