"""Exact bases: their points, prices and pivots by their definitions and against another solver."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from ratio_solver.errors import NotProven
from ratio_solver.exact import dot
from ratio_solver.lp.basis import Basis, box_basis, common_point
from ratio_solver.lp.model import LinearModel, Mark, Row, Variable
from ratio_solver.lp.simplex import best_basis, solver_basis, starting_basis
from tests.lp.models import drawn_model, others_say

ZERO, ONE = Fraction(0), Fraction(1)


def checked(basis: Basis) -> None:
    """What a basis says of itself, by its definition: tight is tight, and a price is what a unit of slack costs."""
    model = basis.model
    assert len(basis.tight) == len(model.variables)
    for mark in basis.tight:
        assert basis.over(mark) == 0
    for mark in basis.tight:
        direction = [Fraction(terms.get(mark, 0), unit) for terms, unit in basis.forms]
        for other in basis.tight:
            rate = sum(a * direction[j] for j, a in model.slacks[other].entries)
            assert rate == (other == mark), (mark, other)
        cost = model.whole_costs[0]
        terms, unit = basis.cost_form(cost)
        assert Fraction(terms.get(mark, 0), unit * cost.unit) == dot(model.costs[0], direction)


def test_pivots_at_random_leave_a_basis_a_basis() -> None:
    rng, swaps = random.Random(5), 0
    for _ in range(40):
        basis = box_basis(drawn_model(rng), [rng.random() < 0.5 for _ in range(5)])
        for _ in range(8):
            gone = rng.choice(sorted(basis.tight))
            coming = [mark for mark, _, rate in basis.margins(gone)[1] if rate]
            if coming:
                basis, swaps = basis.swapped(gone, rng.choice(sorted(set(coming)))), swaps + 1
                checked(basis)
    assert swaps > 200


def test_from_any_basis_the_same_best_point_or_the_same_verdict() -> None:
    """The verdict is that of GLOP, the cost is the same from the solver's basis and from the corners of the box."""
    rng, told = random.Random(6), {True: 0, False: 0}
    for number in range(250):
        model = drawn_model(rng)
        best = [best_basis(start, model.whole_costs) for start in (
            starting_basis(model), solver_basis(model), *(box_basis(model, [high] * 5) for high in (False, True)))]
        values = {None if basis is None else basis.value(model.whole_costs[0]) for basis in best}
        assert len(values) == 1, number
        assert (best[0] is not None) == others_say(model), number
        told[best[0] is not None] += 1
        for basis in best:
            if basis is not None:
                checked(basis)
                assert model.keeps(basis.point)
    assert min(told.values()) > 40


def test_ties_go_to_the_later_costs() -> None:
    """x + y = 4 at least: every mix costs 4; of these the second cost wants y, the third as much of z as may be."""
    variables = tuple(Variable(name, ZERO, Fraction(9)) for name in "xyz")
    rows = (Row("sum", (ONE, ONE, ZERO), ">=", Fraction(4)), Row("z", (ZERO, -ONE, ONE), "<=", ONE))
    costs = ((ONE, ONE, ZERO), (ONE, ZERO, ZERO), (ZERO, ZERO, -ONE))
    model = LinearModel(variables, rows, costs)
    for start in (starting_basis(model), solver_basis(model), box_basis(model, (True, True, True))):
        basis = best_basis(start, model.whole_costs)
        assert basis is not None and basis.point == (0, 4, 5)


def test_equations_that_follow_from_others_or_contradict_them() -> None:
    variables = tuple(Variable(name, ZERO, Fraction(9)) for name in "xy")
    one, twice = Row("one", (ONE, ONE), "==", Fraction(4)), Row("twice", (2 * ONE, 2 * ONE), "==", Fraction(8))
    model = LinearModel(variables, (one, twice), ((ONE, 2 * ONE),))
    basis = best_basis(starting_basis(model), model.whole_costs)
    assert basis is not None and basis.point == (4, 0)
    assert model.keeps((Fraction(4), ZERO)) and not model.keeps((Fraction(5), ZERO)) and not model.keeps((ONE, ONE))
    for bound in (7, 9):
        against = replace(model, rows=(one, replace(twice, bound=Fraction(bound))))
        assert best_basis(starting_basis(against), against.whole_costs) is None
    least = replace(one, sense=">=")  # tight in place of the equation, which then is in the way to both sides
    both = LinearModel(variables, (least, one), ((-ONE, -ONE),))
    start = box_basis(both, [False, False]).swapped(Mark("lower", 0), Mark("row", 0))
    basis = best_basis(start, both.whole_costs)
    assert basis is not None and basis.value(both.whole_costs[0]) == -4


def test_a_model_in_which_a_tight_row_became_another() -> None:
    """Also one that then depends on the others: another bound takes its place."""
    variables = tuple(Variable(name, ZERO, Fraction(9)) for name in "xy")
    rows = (Row("sum", (ONE, ONE), ">=", Fraction(4)), Row("difference", (ONE, -ONE), "==", ONE))
    model = LinearModel(variables, rows, ((ONE, ONE),))
    basis = best_basis(starting_basis(model), model.whole_costs)
    assert basis is not None and basis.point == (Fraction(5, 2), Fraction(3, 2))
    for row, point in ((Row("sum", (ONE, 2 * ONE), ">=", Fraction(7)), (3, 2)),
                       (Row("sum", (ONE, -ONE), ">=", ZERO), (1, 0))):
        other = basis.under(replace(model, rows=(row, rows[1])))
        checked(other)
        best = best_basis(other, model.whole_costs)
        assert best is not None and best.point == point


def test_no_end_and_too_long() -> None:
    """A cost that falls along a variable without an upper bound has no least, and pivots are counted."""
    model = LinearModel((Variable("x", ZERO, ONE, open=True),), (Row("r", (ONE,), ">=", ONE),), ((-ONE,),))
    with pytest.raises(NotProven, match="without end"):
        best_basis(box_basis(model, [False]), model.whole_costs)
    with pytest.raises(NotProven, match="exact arithmetic"):
        best_basis(box_basis(model, [False]), model.whole_costs, most=0)


def test_the_point_on_which_forms_have_their_values() -> None:
    """2 x + y = 7, x - y / 3 = 1: x = 2, y = 3; one equation twice leaves it open, a third contradicts."""
    first, second = ((Fraction(2), ONE), Fraction(7)), ((ONE, Fraction(-1, 3)), ONE)
    assert common_point([first, second], 2) == (2, 3)
    assert common_point([first, first], 2) is None
    assert common_point([first, second, ((ONE, ONE), Fraction(6))], 2) is None
    rng = np.random.default_rng(4)
    for _ in range(20):
        matrix = rng.integers(-9, 9, (4, 4))
        if round(np.linalg.det(matrix)):
            equations = [(tuple(map(Fraction, row.tolist())), Fraction(int(rng.integers(-9, 9)))) for row in matrix]
            found = common_point(equations, 4)
            assert found is not None and all(dot(row, found) == value for row, value in equations)


def test_marks_have_the_order_in_which_the_first_is_taken() -> None:
    model = drawn_model(random.Random(1))
    assert list(model.slacks) == sorted(model.slacks)
    assert Mark("lower", 9) < Mark("row", 0) < Mark("upper", 0)
