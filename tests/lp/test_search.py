"""Whole points: against trying every one of them, and at rows that a solver in doubles cannot see."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from ratio_solver.exact import Vector
from ratio_solver.lp import search
from ratio_solver.lp.clock import TIME_LIMIT, limited
from ratio_solver.lp.model import LinearModel, Row, Variable
from ratio_solver.lp.search import WholeModel, WholePoint, common_divisor, minimum, raised
from ratio_solver.lp.solve import branched
from ratio_solver.lp.stages import stage_of
from ratio_solver.lp.whole import WholeSolution, _judged, solve_whole

ROOTS = tuple(Fraction(math.sqrt(prime)) for prime in (2, 3, 5, 7, 11))


def whole(variables: list[Variable], rows: list[Row], *costs: Vector, resolution: Fraction | None = None) -> WholeModel:
    model = LinearModel(tuple(variables), tuple(rows), costs)
    return WholeModel(model, tuple(v.step for v in variables), lambda values: values, resolution)


def floor(of: WholeModel) -> Fraction:
    return branched(replace(of.model, variables=tuple(replace(v, step=None) for v in of.model.variables)),
                    of.model.whole_costs[:1]).bound


def points(of: WholeModel) -> Iterator[Vector]:
    """Every point on the steps that keeps every row, found by trying them all."""
    spans = []
    for v in of.model.variables:
        assert v.step is not None
        spans.append([k * v.step for k in range(math.ceil(v.lower / v.step), math.floor(v.upper / v.step) + 1)])
    for values in itertools.product(*spans):
        sums = [sum(a * x for a, x in zip(row.coefficients, values, strict=True)) for row in of.model.rows]
        if all(total >= row.bound if row.sense == ">=" else total <= row.bound
               for total, row in zip(sums, of.model.rows, strict=True)):
            yield values


def drawn(seed: int) -> WholeModel:
    rng = random.Random(seed)
    count = rng.randint(2, 4)
    variables = []
    for k in range(count):
        step = Fraction(rng.choice((1, 1, 2, 5)), rng.choice((1, 1, 2, 10))) if seed % 4 != 3 else Fraction(1)
        low = step * rng.randint(0, 4) + Fraction(rng.randint(0, 3), 7)
        variables.append(Variable(f"x{k}", low, low + step * rng.randint(0, 9), step))
    inside = [rng.uniform(float(v.lower), float(v.upper)) for v in variables]
    rows = []
    for k in range(rng.randint(1, 4)):
        coefficients = tuple(Fraction(rng.randint(-900, 999), rng.choice((100, 1000, 725))) for _ in variables)
        if seed % 4:  # many equally good points
            coefficients = tuple(Fraction(rng.choice((1, 1, 2))) for _ in variables)
        near = sum(float(a) * x for a, x in zip(coefficients, inside, strict=True)) + rng.uniform(-0.3, 0.3)
        bound = Fraction(round(100 * near), 100)
        rows.append(Row(f"r{k}", coefficients, rng.choice((">=", "<=")), bound))
    ties = tuple(Fraction(1 if seed % 4 else rng.choice((1, 1, 1, 2))) for _ in variables)
    return whole(variables, rows, ties, ROOTS[:count])


def test_the_same_as_trying_every_point() -> None:
    """Cost after cost, exactly; many of the draws have equally good points for the first cost."""
    solved = tied = 0
    for seed in range(400):
        model = drawn(seed)
        every = [([model.cost(0, p), model.cost(1, p)], p) for p in points(model)]
        found = solve_whole(model, floor(model))
        assert isinstance(found, WholeSolution) == bool(every), seed
        if isinstance(found, WholeSolution):
            best = min(every)
            assert found.values == best[1], seed
            assert (found.objective, found.proven, found.settled) == (best[0][0], True, True), seed
            assert found.bound <= best[0][0], seed
            solved += 1
            tied += sum(costs[0] == best[0][0] for costs, _ in every) > 1
    assert solved > 150 and tied > 30


def test_every_cost_is_held_for_those_after_it() -> None:
    """Four costs, of which each would undo the one before it; many points are equally good for the first."""
    for seed in range(150):
        model = drawn(4 * (seed // 3) + seed % 3 + 1)
        count = len(model.model.variables)
        up, down = (tuple(Fraction(k + 1 if rise else count - k) for k in range(count)) for rise in (True, False))
        of = whole(list(model.model.variables), list(model.model.rows), model.model.costs[0], down, up, ROOTS[:count])
        every = [([of.cost(place, p) for place in range(4)], p) for p in points(of)]
        found = solve_whole(of, floor(of))
        assert isinstance(found, WholeSolution) == bool(every), seed
        if isinstance(found, WholeSolution):
            assert found.values == min(every)[1], seed


@pytest.mark.parametrize(("bound", "complete", "proof"), [(3.0, True, "search"), (2.5, True, "search"), (1.0, True, ""),
                                                           (3.0, False, "")])
def test_a_bound_proves_what_it_reaches(bound: float, complete: bool, proof: str) -> None:
    """Three of a whole number: a search that ended above 2 proves it, one that knows of 1 or was cut short does not."""
    of = whole([Variable("x", Fraction(0), Fraction(9), Fraction(1))],
               [Row("r", (Fraction(1),), ">=", Fraction(3))], (Fraction(1),))
    stage, point = stage_of(of, 0, Fraction(9)), WholePoint((Fraction(3),), bound, complete)
    assert _judged(of, Fraction(1), stage, point)[1] == proof
    assert _judged(of, Fraction(3), stage, point) == (3, "exact")


def test_a_resolution_puts_the_second_cost_first_within_an_interval() -> None:
    for seed in range(200):
        model = drawn(seed)
        count = len(model.model.variables)
        costs = (tuple(Fraction(k * k + 3, 7) for k in range(count)), *model.model.costs)
        cut = whole(list(model.model.variables), list(model.model.rows), *costs, resolution=Fraction(1, 2))
        every = [((math.floor(cut.cost(0, p) * 2), cut.cost(1, p), cut.cost(2, p)), p) for p in points(cut)]
        found = solve_whole(cut, floor(cut))
        assert isinstance(found, WholeSolution) == bool(every), seed
        if isinstance(found, WholeSolution):
            assert found.values == min(every)[1], seed
            assert found.proven and found.bound <= min(cut.cost(0, p) for _, p in every), seed


@pytest.mark.parametrize("miss", [Fraction(1, 10**k) for k in (5, 7, 8, 9, 10, 11, 12, 15)])
def test_a_point_that_misses_a_row_by_next_to_nothing_is_no_answer(miss: Fraction) -> None:
    """x + y >= 7 + miss with whole x, y: 7 is not enough, however little is missing."""
    one = Fraction(1)
    box = [Variable(name, Fraction(0), Fraction(9), one) for name in "xy"]
    found = solve_whole(whole(box, [Row("sum", (one, one), ">=", 7 + miss)], (one, one), ROOTS[:2]), Fraction(7))
    assert isinstance(found, WholeSolution)
    assert (found.objective, found.proven) == (8, True)
    assert found.values == (8, 0)


@pytest.mark.parametrize("size", [Fraction(1, 10**k) for k in (6, 8, 9, 10, 11, 13)])
def test_a_row_finer_than_the_solvers_tolerance(size: Fraction) -> None:
    """x + size * y >= 3 + 4 * size: with x = 3 it takes y >= 4; a solver in doubles takes any y for good."""
    one = Fraction(1)
    box = [Variable("x", Fraction(0), Fraction(3), one), Variable("y", Fraction(0), Fraction(6), one)]
    model = whole(box, [Row("fine", (one, size), ">=", 3 + 4 * size)], (one, one), ROOTS[:2])
    found = solve_whole(model, Fraction(3))
    assert isinstance(found, WholeSolution)
    assert found.values == (3, 4)
    assert found.objective == 7


def test_no_whole_point_between_two_rows() -> None:
    one = Fraction(1)
    box = [Variable(name, Fraction(0), Fraction(9), Fraction(2)) for name in "xy"]
    rows = [Row("least", (one, one), ">=", Fraction(5)), Row("most", (one, one), "<=", Fraction(59, 10))]
    assert solve_whole(whole(box, rows, (one, one)), Fraction(5)) is None
    narrow = [Variable("x", Fraction(3), Fraction(4), Fraction(5))]
    assert solve_whole(whole(narrow, [], (one,)), Fraction(3)) is None


def test_without_variables_a_row_holds_or_not() -> None:
    for bound, kept in ((Fraction(0), True), (Fraction(1, 10**12), False)):
        model = whole([], [Row("nothing", (), ">=", bound)], ())
        assert isinstance(solve_whole(model, Fraction(0)), WholeSolution) == kept


def test_a_search_cut_short_is_not_called_complete(monkeypatch: pytest.MonkeyPatch) -> None:
    """Items of odd weights that hit a sum exactly: the best point is not known to be best after one node."""
    rng = random.Random(3)
    box = [Variable(f"x{k}", Fraction(0), Fraction(1), Fraction(1)) for k in range(40)]
    weights = tuple(Fraction(rng.randint(10**5, 10**6)) for _ in box)
    model = whole(box, [Row("sum", weights, ">=", sum(weights) / 2 + Fraction(1, 3))], weights)
    monkeypatch.setattr(search, "MOST_SEARCH_NODES", 1)
    found = solve_whole(model, floor(model))
    assert isinstance(found, WholeSolution)
    assert model.model.keeps(found.values) and found.bound <= found.objective
    assert found.proven == (found.objective == raised(floor(model), Fraction(1)))
    assert not found.proven and not found.settled


def test_more_time_allows_more_nodes(monkeypatch: pytest.MonkeyPatch) -> None:
    """What one node leaves open in the usual time is searched to its end where there is a day, of many more nodes."""
    rng = random.Random(3)
    box = [Variable(f"x{k}", Fraction(0), Fraction(1), Fraction(1)) for k in range(12)]
    weights = tuple(Fraction(rng.randint(10**5, 10**6)) for _ in box)
    model = whole(box, [Row("sum", weights, ">=", sum(weights) / 2 + Fraction(1, 3))], weights)
    monkeypatch.setattr(search, "MOST_SEARCH_NODES", 1)
    for seconds, complete in ((TIME_LIMIT, False), (1e5, True)):
        with limited(seconds):
            found = minimum(model, weights)
        assert found is not None and found.complete == complete


def test_common_divisor_and_raised() -> None:
    assert common_divisor([Fraction(3, 4), Fraction(5, 6)]) == Fraction(1, 12)
    assert common_divisor([]) is None
    assert raised(Fraction(7, 10), Fraction(1, 4)) == Fraction(3, 4)
    assert raised(Fraction(3, 4), Fraction(1, 4)) == Fraction(3, 4)
    assert np.isclose(float(raised(Fraction(1, 3), None)), 1 / 3)
