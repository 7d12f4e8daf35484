"""Prices and ranges of small models reckoned by hand, and of drawn ones against GLOP at each value."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from ratio_solver.errors import NotProven
from ratio_solver.exact import dot
from ratio_solver.lp.model import LinearModel, Mark, Row, Variable
from ratio_solver.lp.parametric import Moving, SidePrice, sides, trace
from ratio_solver.lp.ranges import best_ranges, value_ranges, whole_face
from ratio_solver.lp.solve import solve_lp
from tests.lp.models import ONE, ZERO, drawn_model

second_opinion = pytest.importorskip("tests.oracle.second_opinion")


def fractions(*values: float) -> tuple[Fraction, ...]:
    return tuple(Fraction(str(value)) for value in values)


def model(cost: tuple[float, ...], *rows: tuple[tuple[float, ...], str, float], most: float = 3) -> LinearModel:
    variables = tuple(Variable(f"x{k}", Fraction(0), Fraction(str(most))) for k in range(len(cost)))
    return LinearModel(variables, tuple(
        Row(f"row {k}", fractions(*coefficients), sense, Fraction(str(bound)))
        for k, (coefficients, sense, bound) in enumerate(rows)
    ), (fractions(*cost),))


Both = tuple[SidePrice | None, SidePrice | None]


def sides_of(problem: LinearModel, *moving: Moving) -> list[Both]:
    found = solve_lp(problem)
    assert found is not None
    return [sides(found.basis, one) for one in moving]


def bound_of(kind: str, place: int) -> Moving:
    """The bound of a row or a variable itself."""
    return Moving(Mark(kind, place), (), -ONE)


def near(side: SidePrice | None, start: float) -> tuple[object, object]:
    """Price, and the bound up to which it holds."""
    assert side is not None
    return float(side.price), None if side.until is None else start + float(side.until)


def test_a_corner_by_hand() -> None:
    """min 3x + 2y, x + y >= 4, x - y <= 2, x, y <= 3: x = 1, y = 3; the sum may be 3 (x = 0) to 6 (x = 3)."""
    problem = model((3, 2), ((1, 1), ">=", 4), ((1, -1), "<=", 2))
    total, difference, most = sides_of(problem, bound_of("row", 0), bound_of("row", 1), bound_of("upper", 1))
    assert near(total[0], 4) == (3, 6) and near(total[1], 4) == (3, 3)
    assert near(difference[0], 2) == (0, None) and near(difference[1], 2) == (0, -2)
    # y at most 3: more saves 1 until x = 0 at y = 4; less costs 1 until x = 3 or x - y = 2 (x = 3, y = 1)
    assert near(most[0], 3) == (-1, 4) and near(most[1], 3) == (-1, 1)


def test_a_kink_has_a_price_to_each_side() -> None:
    """min x + 3y, x + y >= 3, x <= 3: the first 3 cost 1 each, any more cost 3 each, up to 6."""
    [total] = sides_of(model((1, 3), ((1, 1), ">=", 3)), bound_of("row", 0))
    assert near(total[0], 3) == (3, 6)
    assert near(total[1], 3) == (1, 0)


def test_a_bound_that_cannot_be_moved_has_no_price_there() -> None:
    """x + y >= 6 with x, y <= 3 leaves one point: more is impossible, and each of the last costs 3."""
    total, first, second = sides_of(model((1, 3), ((1, 1), ">=", 6)), bound_of("row", 0), bound_of("upper", 0),
                                    bound_of("upper", 1))
    assert total[0] is None and near(total[1], 6) == (3, 3)
    assert first[1] is None and near(first[0], 3) == (-2, 6)
    assert second[1] is None and near(second[0], 3) == (0, None)


def test_a_variable_without_a_choice_has_its_prices() -> None:
    """min 2x + y, x + y >= 3, x = 2, y <= 3: each gram more of x costs 1 as y follows, to either side."""
    variables = (Variable("x", 2 * ONE, 2 * ONE), Variable("y", ZERO, 3 * ONE))
    problem = LinearModel(variables, (Row("sum", (ONE, ONE), ">=", 3 * ONE),), (fractions(2, 1),))
    least, most = sides_of(problem, bound_of("lower", 0), bound_of("upper", 0))
    assert least[0] is None and near(least[1], 2) == (1, 0)
    assert near(most[0], 2) == (0, None) and most[1] is None
    dearer = replace(problem, costs=(fractions(1, 2),))  # now each gram more of x saves 1, up to 3
    found = solve_lp(dearer)
    assert found is not None
    tight, other = sorted((Mark("lower", 0), Mark("upper", 0)), key=lambda mark: mark not in found.basis.tight)
    for basis in (found.basis, found.basis.swapped(tight, other)):  # either bound is tight
        least, most = (sides(basis, bound_of(kind, 0)) for kind in ("lower", "upper"))
        assert least[0] is None and near(least[1], 2) == (0, None)
        assert near(most[0], 2) == (-1, 3) and most[1] is None


def test_a_price_holds_across_bases_while_the_cost_keeps_its_formula() -> None:
    """min x + y, x + y >= 4, x, y <= 3: which of them is moved changes, and each unit costs 1 from nothing to 6."""
    [total] = sides_of(model((1, 1), ((1, 1), ">=", 4)), bound_of("row", 0))
    assert near(total[0], 4) == (1, 6) and near(total[1], 4) == (1, 0)


def test_a_price_that_holds_for_next_to_nothing() -> None:
    """min x + 2y + 3z, x + y + z >= 3, x <= 3, y <= 1e-12: the first of what is more costs 2, all the rest 3."""
    tiny = Fraction(1, 10**12)
    variables = tuple(Variable(name, ZERO, most) for name, most in (("x", 3 * ONE), ("y", tiny), ("z", 3 * ONE)))
    problem = LinearModel(variables, (Row("sum", (ONE,) * 3, ">=", 3 * ONE),), (fractions(1, 2, 3),))
    [(more, less)] = sides_of(problem, bound_of("row", 0))
    assert more == SidePrice(2 * ONE, tiny, ZERO) and less == SidePrice(ONE, -3 * ONE, ZERO)


def test_a_quotient_by_hand() -> None:
    """min x, (10 + x) / (4 + x/10) >= 4: x = (16 - 10) / (1 - 0.4) = 10; in general x = (4 b - 10) / (1 - b / 10).

    So dx/db = 4 / (1 - b/10) + (4b - 10) / 10 / (1 - b/10)^2 = 8.333; from x = 0 (b = 2.5) to x = 30 (b = 40/7).
    """
    problem = model((1,), ((1 - 0.4,), ">=", 6), most=30)
    [(more, less)] = sides_of(problem, Moving(Mark("row", 0), fractions(0.1), Fraction(-4)))
    assert more is not None and less is not None and more.until is not None
    assert near(less, 4) == (pytest.approx(25 / 3), 2.5)
    assert (more.price, more.until) == (Fraction(25, 3), Fraction(12, 7))
    for b in (Fraction(26, 10), Fraction(3), Fraction(5), Fraction(57, 10)):
        side, step = more if b > 4 else less, b - 4
        assert side.price * step / (1 - side.bend * step) == (4 * b - 10) / (1 - b / 10) - 10


def test_a_quotient_whose_best_mix_changes() -> None:
    """Two fats at a cost of 1 and c: which is cheaper for the ratio b depends on b itself.

    Per unit x brings 1 - 0.1 b for 1, y brings 0.8 for 1.25: x is better below b where (1 - 0.1 b) = 0.64, 3.6.
    """
    problem = model((1, 1.25), ((1 - 0.1 * 3, 0.8), ">=", 7), most=100)
    [(more, less)] = sides_of(problem, Moving(Mark("row", 0), fractions(0.1, 0), Fraction(-4)))
    assert more is not None and less is not None
    assert more.until == Fraction(6, 10)
    assert less.until == Fraction(5, 4) - 3  # then no fat is needed


def glop(problem: LinearModel) -> float | None:
    """The least first cost, by GLOP."""
    program = second_opinion.Program()
    for variable in problem.variables:
        if variable.lower > variable.upper:
            return None
        program.variable(variable.lower, variable.upper)
    for row in problem.rows:
        program.row(dict(enumerate(row.coefficients)), **{"low" if row.sense == ">=" else "high": row.bound})
    program.cost = {place: float(c) for place, c in enumerate(problem.costs[0])}
    found = second_opinion.by_ortools(program, "GLOP")
    return None if found is None else float(found[0])


def drawn_moving(rng: random.Random, problem: LinearModel) -> Moving:
    """A row of the model, with a rate of its coefficients at times, or a bound."""
    kind = rng.choice(("row", "row", "lower", "upper"))
    if kind != "row":
        return bound_of(kind, rng.randrange(len(problem.variables)))
    rate = tuple(Fraction(rng.randint(0, 3), 10) for _ in problem.variables) if rng.random() < 0.6 else ()
    return Moving(Mark("row", rng.randrange(len(problem.rows))), rate, Fraction(-rng.randint(1, 4)))


def test_prices_are_what_solving_again_says() -> None:
    """Within the range the cost has the formula of the price and the bend; just beyond, another, or no answer."""
    rng, inside, ends, impossible = random.Random(11), 0, 0, 0
    for number in range(300):
        problem = drawn_model(rng)
        found = solve_lp(problem)
        if found is None:
            continue
        moving = drawn_moving(rng, problem)
        least = float(found.basis.value(problem.whole_costs[0]))
        for way, side in zip((1, -1), sides(found.basis, moving), strict=True):
            if side is None:
                assert glop(moving.at(problem, Fraction(way, 10**4))) is None, number
                impossible += 1
                continue
            until = Fraction(5) if side.until is None else min(Fraction(5), abs(side.until))
            for share in (Fraction(1, 7), Fraction(5, 7), ONE):
                step = way * until * share
                again, change = glop(moving.at(problem, step)), side.price * step / (1 - side.bend * step)
                assert again == pytest.approx(least + float(change), abs=1e-6), (number, moving, side, step)
                inside += 1
            if side.until is not None:
                step = side.until + way * Fraction(1, 10)
                again, change = glop(moving.at(problem, step)), side.price * step / (1 - side.bend * step)
                ends += again is None or again != pytest.approx(least + float(change), abs=1e-9)
    assert inside > 600 and ends > 100 and impossible > 1


def test_a_trace_is_what_solving_again_says() -> None:
    """Regions follow each other without a gap, and in the middle of each the cost is that of GLOP."""
    rng, regions = random.Random(12), 0
    for number in range(250):
        problem = replace(drawn_model(rng), costs=(drawn_model(rng).costs[0],))
        problem = replace(problem, costs=(tuple(Fraction(rng.randint(1, 9)) for _ in problem.variables),))
        moving = drawn_moving(rng, problem)
        high = Fraction(rng.randint(1, 4))
        if solve_lp(moving.at(problem, ZERO)) is None or solve_lp(moving.at(problem, high)) is None:
            continue
        try:
            found = trace(problem, moving, ZERO, high)
        except NotProven:
            assert any(glop(moving.at(problem, high * k / 500)) is None for k in range(500)), number
            continue
        assert [region.low for region in found] == [ZERO, *(region.high for region in found[:-1])]
        assert found[-1].high == high
        for region in found:
            assert region.low is not None and region.high is not None
            middle = (region.low + region.high) / 2
            here = moving.at(problem, middle)
            assert here.keeps(region.values_at(middle)), number
            p, q, r, s = region.formula
            cost = region.costs_at(middle)[0]
            assert cost == dot(problem.costs[0], region.values_at(middle)) == (p + q * middle) / (r + s * middle)
            assert float(cost) == pytest.approx(glop(here), abs=1e-6), number
            regions += 1
    assert regions > 100


def test_ends_of_all_points_and_of_the_best() -> None:
    """min x + y + 2z, x + y + z >= 4, all <= 9: x and y up to 4 and no z; of all that is feasible each up to 9."""
    problem = model((1, 1, 2), ((1, 1, 1), ">=", 4), most=9)
    found = solve_lp(problem)
    assert found is not None and found.basis.idle
    lowest, highest = best_ranges([found.basis], 3)
    assert lowest == pytest.approx([0, 0, 0]) and highest == pytest.approx([4, 4, 0])
    point = np.array([float(value) for value in found.values])
    lowest, highest = value_ranges([whole_face(problem)], [point])
    assert lowest == pytest.approx([0, 0, 0]) and highest == pytest.approx([9, 9, 9])
