"""The least largest relative move on the steps, against trying every point of small boxes."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import pytest

from ratio_solver.lp import least_largest
from ratio_solver.lp import whole as whole_points
from ratio_solver.lp.enumeration import FEW_WAYS, Enumerated, enumerated
from ratio_solver.lp.lattice import Lattice, lattice_of
from ratio_solver.lp.least_largest import moves_behind
from ratio_solver.lp.model import Row, Variable
from ratio_solver.lp.search import WholeModel
from ratio_solver.lp.solve import branched
from ratio_solver.lp.whole import solve_whole
from tests.lp.test_lattice import ONE, ZERO, best_by_trying, moved_model


def even_model(rng: random.Random, narrow: bool = False) -> WholeModel:
    """A drawn model with one more variable, above a share of every move, which is the first cost."""
    whole = moved_model(rng, narrow)
    count, size = whole.count, 3 * whole.count + 1
    shares = [Fraction(rng.choice((1, 1, 2, 5)), rng.randint(1, 40)) for _ in range(count)]
    model = whole.model
    rows = [replace(row, coefficients=(*row.coefficients, ZERO)) for row in model.rows]
    rows += [Row.of("share", {count + k: -share, 2 * count + k: -share, size - 1: ONE}, size, ">=", ZERO)
             for k, share in enumerate(shares)]
    first = (*[ZERO] * (size - 1), ONE)
    largest = Variable("largest", ZERO, Fraction(10**6), open=True)

    def completed(values: tuple[Fraction, ...]) -> tuple[Fraction, ...]:
        found = whole.completed(values[:size - 1])
        return (*found, max(share * (found[count + k] + found[2 * count + k]) for k, share in enumerate(shares)))

    return WholeModel(replace(model, variables=(*model.variables, largest), rows=tuple(rows),
                              costs=(first, *((*cost, ZERO) for cost in model.costs))),
                      (*whole.grids, None), completed, count=count)


def between_the_steps(whole: WholeModel) -> tuple[Fraction, list[float]]:
    """The least largest move of any weights, and as multipliers those that say nothing."""
    free = replace(whole.model, variables=tuple(replace(v, step=None) for v in whole.model.variables))
    return branched(free, free.whole_costs[:1]).bound, [0.0] * len(whole.model.rows)


@pytest.mark.parametrize("narrow", [False, True], ids=["rows with room", "a narrow band"])
def test_the_most_even_point_is_that_of_trying_all(narrow: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """150 small models a kind, without a search by the solver; some tens have no point."""
    monkeypatch.setattr(whole_points, "_searched", None)
    empty = 0
    for seed in range(150):
        whole = even_model(random.Random(seed), narrow)
        best, (least, prices) = best_by_trying(whole), between_the_steps(whole)
        empty += best is None
        answer = solve_whole(whole, least, prices)
        assert (None if answer is None else answer.values) == best, seed
        assert answer is None or (answer.proof == "exact" and answer.settled and answer.bound == answer.objective)
    assert 5 < empty < 145, empty


def test_what_stays_open_is_not_claimed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every third box, drawn, has too many ways to be gone through: what is then called proven is so."""
    open_now = random.Random(1)

    def sometimes(whole: WholeModel, lattice: Lattice, prices: Sequence[float], most: int = FEW_WAYS, *, first: float,
                  beam: bool = False) -> Enumerated:
        if not beam:
            state["open"] = open_now.random() < 1 / 3
        return Enumerated(None, 0.0, False) if state["open"] else enumerated(whole, lattice, prices, most, first)

    state = {"open": False}
    monkeypatch.setattr(least_largest, "enumerated", sometimes)
    left_open = 0
    for seed in range(300):
        whole = even_model(random.Random(seed))
        moves, lattice = moves_behind(whole), lattice_of(whole.model, whole.count)
        assert moves is not None and lattice is not None
        best, (least, prices) = best_by_trying(whole), between_the_steps(whole)
        found = least_largest.least_largest(whole, moves, lattice, prices, least)
        left_open += not found.complete
        if found.values is not None:
            assert whole.model.keeps(found.values), seed
        if found.complete:
            assert (found.values and whole.cost(0, found.values)) == (best and whole.cost(0, best)), seed
    assert 60 < left_open < 240, left_open


def test_levels_are_listed_of_less_than_a_step_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a large piece beside fine steps there would be many thousands between the bound and the least."""
    of_moves, widths = least_largest.RelativeMoves.levels, list[Fraction]()

    def listed(moves: least_largest.RelativeMoves, least: Fraction, below: Fraction) -> list[Fraction]:
        widths.append((below - least) / moves.finest)
        return of_moves(moves, least, below)

    monkeypatch.setattr(least_largest.RelativeMoves, "levels", listed)
    for seed in range(60):
        whole = even_model(random.Random(seed))
        assert solve_whole(whole, ZERO, [0.0] * len(whole.model.rows)) is None or widths
    assert max(widths) <= 1


def test_levels_and_boxes_by_hand() -> None:
    """From 3.5 on steps of 2 from 1, half a share a unit: moves of 0.5, 1.5, 2.5 ... count 0.25, 0.75, 1.25."""
    moves = least_largest.RelativeMoves((0,), (Fraction(7, 2),), (Fraction(1, 2),), (ONE,), (2 * ONE,), ONE)
    quarter = Fraction(1, 4)
    assert moves.levels(ZERO, 6 * quarter) == [quarter, 3 * quarter, 5 * quarter]
    assert moves.levels(quarter, 3 * quarter) == [quarter]
    assert [ends.tolist() for ends in moves.box(3 * quarter)] == [[1], [2]]
    assert [ends.tolist() for ends in moves.box(5 * quarter)] == [[0], [2]]
    assert moves.finest == 1


def test_only_the_largest_of_relative_moves_is_taken_for_it() -> None:
    whole = even_model(random.Random(3))
    model = whole.model
    assert moves_behind(whole) is not None
    share = next(number for number, row in enumerate(model.rows) if row.name == "share")
    for changed in (replace(model.rows[share], bound=ONE), replace(model.rows[share], sense="<=")):
        assert moves_behind(replace(whole, model=model.with_row(share, changed))) is None
    rows = tuple(row for number, row in enumerate(model.rows) if number != share)
    assert moves_behind(replace(whole, model=replace(model, rows=rows))) is None
    assert moves_behind(whole.with_costs(model.costs[1:])) is None
