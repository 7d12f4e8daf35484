"""The best point of a model and whether it has one: against GLOP and SCIP on random models, and by hand."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from ratio_solver.lp import highs, solve
from ratio_solver.lp.model import LinearModel, Row, Variable
from ratio_solver.lp.solve import branched, has_point, solve_lp, ways
from tests.lp.models import ONE, ZERO, drawn_model, others_say

second_opinion = pytest.importorskip("tests.oracle.second_opinion")


@pytest.mark.parametrize("step", [False, True], ids=["between the steps", "on the steps"])
def test_as_other_solvers_say(step: bool) -> None:
    rng, told = random.Random(7), {True: 0, False: 0}
    for number in range(250):
        model = drawn_model(rng, step)
        found = has_point(model)
        assert found is not None and found == others_say(model), number
        told[found] += 1
    assert min(told.values()) > 40


def test_how_finely_it_tells() -> None:
    """x + y <= 1 and x + y >= 1 + 1e-20 are not kept together, which no doubles tell."""
    def model(least: Fraction) -> LinearModel:
        variables = tuple(Variable(name, ZERO, Fraction(10)) for name in "xy")
        return LinearModel(variables, (Row("most", (ONE, ONE), "<=", ONE), Row("least", (ONE, ONE), ">=", least)),
                           ((ONE, ONE),))

    assert has_point(model(ONE)) is True
    assert has_point(model(ONE + Fraction(1, 10**20))) is False
    fixed = LinearModel((Variable("x", ONE, ONE),), (Row("least", (ONE,), ">=", ONE + Fraction(1, 10**15)),), ((ONE,),))
    assert has_point(fixed) is False


def test_where_the_parts_are_too_many_the_question_stays_open() -> None:
    """Even weights that hit an odd sum: every part has a point between the steps until nearly all are fixed."""
    count = 20
    variables = tuple(Variable(f"x{j}", ZERO, ONE, ONE) for j in range(count))
    rows = tuple(Row(f"r{k}", (2 * ONE,) * count, sense, Fraction(count + 1)) for k, sense in enumerate((">=", "<=")))
    model = LinearModel(variables, rows, ((ONE,) * count,))
    assert has_point(model, 8) is None
    small = LinearModel(variables[:4], tuple(replace(row, coefficients=row.coefficients[:4], bound=Fraction(5))
                                             for row in rows), ((ONE,) * 4,))
    assert has_point(small) is False


def test_the_best_on_the_steps_is_that_of_another_search() -> None:
    """Models in whole steps with two costs: the least of SCIP for the first, and of it held for the second."""
    rng, solved = random.Random(13), 0
    for number in range(150):
        model = drawn_model(rng, True)
        found = solve_lp(replace(model, costs=(*model.costs, drawn_model(rng).costs[0][:1] * len(model.variables))))
        steps = [variable.step or ONE for variable in model.variables]
        program = second_opinion.Program()
        for variable, step in zip(model.variables, steps, strict=True):
            program.variable(0, variable.upper // step, integer=True)
        for row in model.rows:
            program.row({j: a * steps[j] for j, a in enumerate(row.coefficients)},
                        **{"low" if row.sense == ">=" else "high": row.bound})
        program.cost = {j: float(c * steps[j]) for j, c in enumerate(model.costs[0])}
        other = second_opinion.by_ortools(program, "SCIP")
        assert (found is None) == (other is None), number
        if found is not None and other is not None:
            solved += 1
            assert model.keeps(found.values) and all(x % s == 0 for x, s in zip(found.values, steps, strict=True))
            assert float(found.bound) == pytest.approx(other[0], abs=1e-6), number
    assert solved > 50


def test_a_choice_that_does_not_bind_is_one_part() -> None:
    """Two of three may be used and two are enough, at whatever share of their `most`: nothing is split."""
    unit = [[ONE if k == j else ZERO for k in range(3)] for j in range(3)]
    variables = (*(Variable(f"w{j}", ZERO, Fraction(9)) for j in range(3)),
                 *(Variable(f"u{j}", ZERO, ONE, ONE) for j in range(3)))
    ties = tuple(Row(f"t{j}", (*(-one for one in unit[j]), *(50 * one for one in unit[j])), ">=", ZERO)
                 for j in range(3))
    rows = (Row("sum", (ONE, ONE, ONE, ZERO, ZERO, ZERO), ">=", Fraction(12)),
            Row("choose", (ZERO, ZERO, ZERO, ONE, ONE, ONE), "<=", Fraction(2)), *ties)
    model = LinearModel(variables, rows, ((ONE, 2 * ONE, 3 * ONE, ZERO, ZERO, ZERO),))
    found = branched(model, model.whole_costs, most=1)
    assert found.complete and found.basis is not None and found.basis.point == (9, 3, 0, 1, 1, 0)


def choice(rng: random.Random) -> LinearModel:
    """At most so many of three to six weights, rows and costs over them; tied with a `most` of a million."""
    count = rng.randint(3, 6)
    weights = tuple(Variable(f"w{j}", ZERO, Fraction(rng.randint(3, 20))) for j in range(count))
    used = tuple(Variable(f"w{j} used", ZERO, ONE, step=ONE) for j in range(count))
    none = (ZERO,) * count

    def unit(place: int, value: int) -> tuple[Fraction, ...]:
        return tuple(Fraction(value) if j == place else ZERO for j in range(count))

    ties = tuple(Row(f"w{j} only if used", (*unit(j, -1), *unit(j, 10**6)), ">=", ZERO)
                 for j in range(count))
    rows = tuple(Row(f"r{k}", (*(Fraction(rng.randint(-2, 5)) for _ in range(count)), *none), ">=",
                     Fraction(rng.randint(5, 60))) for k in range(rng.randint(1, 3)))
    chosen = Row("choose", (*none, *(ONE,) * count), "<=", Fraction(rng.randint(1, count - 1)))
    return LinearModel((*weights, *used), (*rows, chosen, *ties),
                       ((*(Fraction(rng.randint(1, 9)) for _ in range(count)), *none),))


def test_a_choice_is_the_best_of_all_its_ways() -> None:
    """Against every way to leave some out, a linear programme of GLOP each."""
    rng, possible = random.Random(9), 0
    for number in range(80):
        model = choice(rng)
        count = len(model.variables) // 2
        at_most = int(next(row.bound for row in model.rows if row.name == "choose"))
        values = []
        for kept in itertools.combinations(range(count), at_most):
            program = second_opinion.Program()
            for j, variable in enumerate(model.variables[:count]):
                program.variable(0, variable.upper if j in kept else 0)
            for row in model.rows:
                if row.name.startswith("r"):
                    program.row(dict(enumerate(row.coefficients[:count])), low=row.bound)
            program.cost = {j: float(c) for j, c in enumerate(model.costs[0][:count])}
            answer = second_opinion.by_ortools(program)
            values += [] if answer is None else [answer[0]]
        assert has_point(model) == bool(values), number
        found = solve_lp(model)
        assert (found is None) == (not values), number
        if found is None:
            continue
        possible += 1
        cost = model.whole_costs[0]
        assert float(found.basis.value(cost)) == pytest.approx(min(values), abs=1e-6), number
        assert found.bound == found.basis.value(cost) and found.searched is None, number
        assert found.model.keeps(found.values), number
        used = [place for place in range(count) if found.values[place]]
        assert len(used) <= at_most, number
        cut = branched(model, [cost], most=2)
        assert 0 < cut.bound <= found.bound, number
    assert 20 < possible < 80


def test_what_is_left_is_searched(monkeypatch: pytest.MonkeyPatch) -> None:
    """HiGHS chooses as the parts do, and the exact bound on all choices stays below."""
    rng, searched = random.Random(9), 0
    for _ in range(80):
        model = choice(rng)
        found = solve_lp(model)
        with monkeypatch.context() as patch:
            patch.setattr(solve, "MOST_BRANCHED", 1)
            other = solve_lp(model)
        assert (found is None) == (other is None)
        if found is not None and other is not None:
            cost = model.whole_costs[0]
            assert found.basis.value(cost) == other.basis.value(cost)
            if other.searched is not None:
                searched += 1
                assert other.bound <= found.bound and other.searched == pytest.approx(float(found.bound), abs=1e-6)
    assert searched > 3


def test_ways_are_those_that_allow_the_most() -> None:
    """At most 2 of 4: six pairs, each once; 20 of 40 are listed one by one as they are asked for."""
    def model(at_most: int, count: int) -> LinearModel:
        variables = tuple(Variable(f"u{j}", ZERO, ONE, ONE) for j in range(count))
        return LinearModel(variables, (Row("choose", (ONE,) * count, "<=", Fraction(at_most)),), ((ZERO,) * count,))

    found = [tuple(int(variable.upper) for variable in way.variables) for way in ways(model(2, 4))]
    assert len(found) == len(set(found)) == 6 and all(sum(way) == 2 for way in found)
    many = list(itertools.islice(ways(model(20, 40)), 65))
    assert len(many) == 65 and all(sum(variable.lower for variable in way.variables) == 20 for way in many)
    assert list(ways(LinearModel((Variable("x", ZERO, ONE),), (), ((ONE,),)))) != []


def test_a_large_matrix_is_handed_on_as_a_sparse_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """With rows of all three senses; the answer is that of GLOP either way."""
    pywraplp = pytest.importorskip("ortools.linear_solver.pywraplp")
    rng = np.random.default_rng(1)
    for _ in range(30):
        matrix = rng.normal(size=(6, 9)) * (rng.random((6, 9)) < 0.5)
        sign, cost, bound = rng.choice([-1.0, 0.0, 1.0], 6), rng.normal(size=9), matrix @ rng.random(9)
        other = pywraplp.Solver.CreateSolver("GLOP")
        x = [other.NumVar(0, 1, "") for _ in cost]
        for row, side, end in zip(matrix, sign, bound, strict=True):
            other.Add(sum(a * v for a, v in zip(row, x, strict=True)) >= end - (1e9 if side < 0 else 0))
            other.Add(sum(a * v for a, v in zip(row, x, strict=True)) <= end + (1e9 if side > 0 else 0))
        other.Minimize(sum(c * v for c, v in zip(cost, x, strict=True)))
        assert other.Solve() == other.OPTIMAL
        for most in (10**9, 0):
            monkeypatch.setattr(highs, "LARGE_MATRIX", most)
            found = highs.linear(cost, matrix, bound, sign, np.zeros(9), np.ones(9))
            assert found is not None and cost @ found.values == pytest.approx(other.Objective().Value(), abs=1e-7)
