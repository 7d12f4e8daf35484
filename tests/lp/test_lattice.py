"""Whole points gone through and found from halves, against trying every point of small boxes."""

from __future__ import annotations

import itertools
import random
import tracemalloc
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from ratio_solver.errors import NotProven
from ratio_solver.exact import dot
from ratio_solver.lp import halves, points
from ratio_solver.lp import whole as whole_points
from ratio_solver.lp.clock import within
from ratio_solver.lp.enumeration import Enumerated, enumerated
from ratio_solver.lp.halves import Halves, box_around, narrowest
from ratio_solver.lp.lattice import lattice_of
from ratio_solver.lp.model import LinearModel, Row, Variable
from ratio_solver.lp.points import narrow_point, proven_empty
from ratio_solver.lp.search import WholeModel, off_the_grid
from ratio_solver.lp.whole import solve_whole

ONE, ZERO = Fraction(1), Fraction(0)


def moved_model(rng: random.Random, narrow: bool = False) -> WholeModel:
    """Up to three weights on steps, their moves from a start counted at two prices, and up to three rows.

    Steps of 1 to 7 from bases of 0 or less than a step; starts on and off the steps, inside the bounds and out. With
    `narrow` the first two rows are a band no wider than a tenth of a step's change, often none at all.
    """
    count = rng.randint(1, 3)
    steps = [Fraction(rng.choice((1, 1, 2, 5, 7))) for _ in range(count)]
    bases = [rng.choice((ZERO, ZERO, Fraction(rng.randint(0, 9), 10) * step)) for step in steps]
    mains = []
    for k, (step, base) in enumerate(zip(steps, bases, strict=True)):
        low = rng.randint(0, 6)
        ends = base + low * step, base + (low + rng.randint(0, 6)) * step
        give = Fraction(rng.randint(0, 3), 10)
        mains.append(Variable(f"w{k}", ends[0] - give, ends[1] + give, step, base=base))
    starts = [Fraction(rng.randint(0, 200), rng.choice((1, 2, 10))) for _ in mains]
    far = Fraction(1000)
    moves = [Variable(f"{way}{k}", ZERO, far, open=True) for way in ("up", "down") for k in range(count)]
    size = 3 * count
    rows = []
    for k in range(count):
        entries = {k: ONE, count + k: -ONE, 2 * count + k: ONE}
        rows.append(Row(f"move {k}", tuple(entries.get(j, ZERO) for j in range(size)), "==", starts[k]))

    def row(a: list[Fraction], sense: str, bound: Fraction) -> Row:
        return Row("row", (*a, *[ZERO] * (size - count)), sense, bound)

    middle = [(v.lower + v.upper) / 2 for v in mains]
    for _ in range(rng.randint(0, 2)):
        a = [Fraction(rng.randint(-99, 99), 100) for _ in mains]
        rows.append(row(a, rng.choice((">=", "<=")), dot(a, middle) + Fraction(rng.randint(-200, 200), 100)))
    if narrow:
        a = [Fraction(rng.randint(1, 99), 100) * rng.choice((1, -1)) for _ in mains]
        whole = [base + step * round((x - base) / step) for x, base, step in zip(middle, bases, steps, strict=True)]
        bound = dot(a, whole) if rng.random() < 0.7 else dot(a, middle) + Fraction(rng.randint(-300, 300), 100)
        rows += [row(a, ">=", bound), row(a, "<=", bound + rng.choice((ZERO, Fraction(rng.randint(0, 5), 1000))))]
    keeps = [Fraction(rng.choice((1, 1, 2, 3)), rng.choice((1, 2))) for _ in mains]
    roots = [Fraction(float(np.sqrt(p))) for p in (2, 3, 5, 7)[:count]]
    costs = (tuple([ZERO] * count + keeps + keeps), tuple([ZERO] * count + roots + roots),
             tuple(roots + [ZERO] * 2 * count))

    def completed(values: tuple[Fraction, ...]) -> tuple[Fraction, ...]:
        shifts = [value - start for value, start in zip(values, starts, strict=False)]
        return (*values[:count], *(max(ZERO, x) for x in shifts), *(max(ZERO, -x) for x in shifts))

    return WholeModel(LinearModel((*mains, *moves), tuple(rows), costs), tuple(
        [Fraction(1, 10)] * size), completed, count=count)


def all_points(whole: WholeModel) -> Iterator[tuple[Fraction, ...]]:
    """Every whole point within the bounds that keeps every row."""
    ranges = []
    for v in whole.model.variables[:whole.count]:
        step = v.step or ONE
        first, last = -((v.base - v.lower) // step), (v.upper - v.base) // step
        ranges.append([v.base + n * step for n in range(int(first), int(last) + 1)])
    for values in itertools.product(*ranges):
        point = whole.completed((*values, *[ZERO] * (2 * whole.count)))
        if whole.model.keeps(point):
            yield point


def best_by_trying(whole: WholeModel) -> tuple[Fraction, ...] | None:
    return min(all_points(whole), key=lambda point: [dot(cost, point) for cost in whole.model.costs], default=None)


@pytest.mark.parametrize("narrow", [False, True], ids=["rows with room", "a narrow band"])
def test_the_best_whole_point_is_that_of_trying_all(narrow: bool) -> None:
    """200 small models a kind, of which some tens have no point; with any multipliers, good ones and bad."""
    empty = 0
    for seed in range(200):
        rng = random.Random(seed)
        whole = moved_model(rng, narrow)
        lattice, best = lattice_of(whole.model, whole.count), best_by_trying(whole)
        assert lattice is not None
        empty += best is None
        for prices in ([], [rng.uniform(-2, 2) for _ in whole.model.rows]):
            found = enumerated(whole, lattice, prices)
            assert found.complete, seed
            assert found.values == best, (seed, prices)
            if best is not None:
                assert found.bound <= float(dot(whole.model.costs[0], best)) + 1e-6
        answer = solve_whole(whole, Fraction(0))
        assert (None if answer is None else answer.values) == best, seed
        assert answer is None or (answer.proof == "exact" and answer.settled)
        assert proven_empty(whole) is (best is None), seed
    assert 10 < empty < 190, empty


def test_few_ways_leave_a_bound_that_is_true() -> None:
    """With as few ways as one nothing is claimed that is not so."""
    left_open = 0
    for seed in range(150):
        whole = moved_model(random.Random(seed))
        lattice, best = lattice_of(whole.model, whole.count), best_by_trying(whole)
        assert lattice is not None
        for most in (1, 3, 10):
            found = enumerated(whole, lattice, [], most)
            if found.complete:
                assert found.values == best, (seed, most)
            else:
                left_open += 1
                assert best is None or found.bound <= float(dot(whole.model.costs[0], best)) + 1e-6, (seed, most)
    assert left_open > 20


def test_points_of_two_halves_are_those_of_trying_all() -> None:
    """The points on which a line comes out between two ends, rows kept; in the whole box and in one around a point."""
    told, partly = 0, 0
    for seed in range(150):
        rng = random.Random(seed)
        whole = moved_model(rng)
        lattice = lattice_of(whole.model, whole.count)
        assert lattice is not None
        if lattice.empty:
            continue
        line = np.array([rng.uniform(-1, 1) for _ in range(whole.count)])
        low, high = sorted(rng.uniform(-20, 20) for _ in range(2))
        centre = (lattice.low + lattice.high) / 2
        for sums in (4, 10**6):
            box = box_around(lattice, centre, sums)
            halves = Halves(lattice, box, line)
            found = halves.between(low, high)
            assert found is not None
            mains = whole.model.variables[:whole.count]
            inside = {tuple(int((x - v.base) / (v.step or 1)) for x, v in zip(point, mains, strict=False))
                      for point in all_points(whole)}
            expected = {point for point in inside if low <= line @ point <= high
                        and all(a <= n <= b for a, n, b in zip(box[0], point, box[1], strict=True))}
            assert {tuple(point) for point in found.tolist()} == expected, seed
            told, partly = told + len(expected), partly + (not halves.complete)
    assert told > 300 and partly > 50


def test_a_value_between_those_that_whole_points_have_is_proven_out_of_reach() -> None:
    """0.06 a + 0.10 b of whole a and b is a multiple of 0.02: 1.03 is none, 1.04 is 0.06 x 9 + 0.10 x 5."""
    variables = tuple(Variable(name, ZERO, Fraction(10**6), ONE) for name in "ab")
    entries = (Fraction(6, 100), Fraction(10, 100))

    def model(bound: Fraction) -> WholeModel:
        rows = (Row("least", entries, ">=", bound), Row("most", tuple(-3 * a for a in entries), ">=", -3 * bound))
        return WholeModel(LinearModel(variables, rows, ((ONE, ONE),)), (ONE, ONE), lambda values: values, count=2)

    assert off_the_grid(model(Fraction(103, 100))) and not off_the_grid(model(Fraction(104, 100)))
    assert solve_whole(model(Fraction(103, 100)), ZERO) is None
    answer = solve_whole(model(Fraction(104, 100)), ZERO)
    assert answer is not None and dot(entries, answer.values) == Fraction(104, 100)
    assert answer.values == (Fraction(4), Fraction(8))  # 0.24 + 0.80; 9 + 5 is more


def test_the_narrowest_row_is_the_one_with_least_room() -> None:
    variables = tuple(Variable(name, ZERO, Fraction(100), ONE) for name in "ab")
    a, b = (ONE, ONE), (Fraction(13, 100), Fraction(17, 100))
    rows = (Row("a", a, ">=", Fraction(50)), Row("a", a, "<=", Fraction(50)), Row("b", b, ">=", Fraction(7)),
            Row("b", b, "<=", Fraction(701, 100)))
    whole = WholeModel(LinearModel(variables, rows, ((ONE, ONE),)), (ONE, ONE), lambda values: values, count=2)
    lattice = lattice_of(whole.model, 2)
    assert lattice is not None
    narrow = narrowest(whole, lattice)
    assert narrow is not None and lattice.source[narrow.row] in (2, 3)
    wide = WholeModel(LinearModel(variables, rows[:3], ((ONE, ONE),)), (ONE, ONE), lambda values: values, count=2)
    lattice = lattice_of(wide.model, 2)
    assert lattice is not None
    narrow = narrowest(wide, lattice)
    assert narrow is None or lattice.source[narrow.row] in (0, 1)


def test_a_box_of_very_many_variables_has_its_points_where_few_have_a_choice() -> None:
    low = np.arange(70)
    half = halves._Half(low, low + np.isin(low, (3, 50, 69)))
    points = half.points(np.arange(8))
    assert len({tuple(point) for point in points.tolist()}) == 8
    assert (points >= low).all() and (points <= half.low + half.spans - 1).all()
    assert half.sums(low.astype(float)).tolist() == (points @ low).tolist()
    assert halves._Half(low[:0], low[:0]).points(np.arange(1)).shape == (1, 0)


def test_the_points_of_many_weights_take_little_memory() -> None:
    """Of 38 weights of two steps a half has half a million sums, and up to 3 million points lie between the ends."""
    count, rng = 38, random.Random(1)
    entries = tuple(Fraction(rng.randint(1, 10**12), 10**12) for _ in range(count))
    middle = sum(entries) * Fraction(7, 2)
    variables = tuple(Variable(str(k), 3 * ONE, 4 * ONE, ONE) for k in range(count))
    rows = tuple(Row(sense, entries, sense, middle) for sense in (">=", "<="))
    whole = WholeModel(LinearModel(variables, rows, ((ONE,) * count,)), (ONE,) * count, lambda values: values,
                       count=count)
    lattice = lattice_of(whole.model, count)
    assert lattice is not None
    within, least = replace(lattice, least=lattice.least - 1e-3), float(lattice.least[0])
    tracemalloc.start()
    try:
        sums = Halves(within, box_around(within, np.full(count, 3.0), halves.SUMS[-1]), within.matrix[0])
        found = [sums.between(least - room, least + room) for room in (1e-9, 3e-6, 0.1)]
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 130e6, peak
    assert len(sums.sums) == 2**19 and found[0] is not None and len(found[0])
    assert found[1] is None and found[2] is None


def test_what_a_glance_shows_to_be_empty_is_not_gone_through(monkeypatch: pytest.MonkeyPatch) -> None:
    """x + y / 10 + z / 10 = 25 and y - z = 1 have whole points each, and none together: x + z / 5 = 24.9."""
    variables = tuple(Variable(name, ZERO, Fraction(500), ONE) for name in "xyz")
    rows = (Row("sum", (ONE, ONE / 10, ONE / 10), "==", 25 * ONE), Row("difference", (ZERO, ONE, -ONE), "==", ONE))
    whole = WholeModel(LinearModel(variables, rows, ((ONE,) * 3,)), (ONE,) * 3, lambda values: values, count=3)
    assert not off_the_grid(whole)

    def listed(*_: object) -> None:
        raise AssertionError("sums are listed")

    for module in (points, whole_points):
        monkeypatch.setattr(module, "narrow_point", listed)
    monkeypatch.setattr(whole_points, "enumerated", lambda *_, **__: Enumerated(None, 0.0, complete=False))
    assert points.some_point(whole) is None
    assert solve_whole(whole, ZERO) is None


def test_points_that_miss_a_row_by_less_than_doubles_tell_are_too_many_to_judge() -> None:
    """x + y + 3 z is 250 at thousands of points, and none keeps ``x + y + 3 z + w >= 250 + 1e-14``: no proof."""
    variables = [*(Variable(name, ZERO, Fraction(100), ONE) for name in "xyz"), Variable("w", ZERO, ZERO, ONE)]
    line = (ONE, ONE, 3 * ONE)
    rows = [Row(sense, (*line, ZERO), sense, Fraction(250)) for sense in (">=", "<=")]
    rows.append(Row("hair", (*line, ONE), ">=", 250 + Fraction(1, 10**14)))
    whole = WholeModel(LinearModel(tuple(variables), tuple(rows), ((ONE,) * 4,)), (ONE,) * 4, lambda values: values,
                       count=4)
    lattice = lattice_of(whole.model, 4)
    assert lattice is not None
    narrow = narrowest(whole, lattice)
    assert narrow is not None
    assert narrow_point(whole, lattice, narrow, (lattice.low + lattice.high) / 2) == (None, False)
    assert not proven_empty(whole)


def free_of_cost(span: int, resolution: Fraction | None) -> WholeModel:
    """Four weights from a start of half the span, of which the first cost says nothing, and one from 5 to 9 that it is.

    The four are to be 7 more together than at the start. What moves is the later cost; then what is listed first.
    """
    high = Fraction(span)
    variables = [*(Variable(name, ZERO, high, ONE) for name in "abcd"), Variable("e", 5 * ONE, 9 * ONE, ONE)]
    variables += [Variable(f"{way} {name}", ZERO, high, open=True) for way in ("up", "down") for name in "abcde"]
    start = [high / 2] * 4 + [9 * ONE]
    rows = [Row.of(f"move {k}", {k: ONE, 5 + k: -ONE, 10 + k: ONE}, 15, "==", start[k]) for k in range(5)]
    rows.append(Row.of("more", dict.fromkeys(range(4), ONE), 15, ">=", 2 * high + 7))
    roots = [Fraction(float(np.sqrt(p))) for p in (2, 3, 5, 7, 11)]
    costs = ((*[ZERO] * 4, ONE, *[ZERO] * 10), (*[ZERO] * 5, *[ONE] * 10), (*[ZERO] * 5, *roots, *roots))

    def completed(values: tuple[Fraction, ...]) -> tuple[Fraction, ...]:
        moves = [value - begin for value, begin in zip(values, start, strict=False)]
        return (*values[:5], *(max(ZERO, x) for x in moves), *(max(ZERO, -x) for x in moves))

    return WholeModel(LinearModel(tuple(variables), tuple(rows), costs), (ONE,) * 15, completed, resolution, count=5)


@pytest.mark.parametrize("resolution", [1, 4])
@pytest.mark.parametrize("span", [12, 120], ids=["gone through", "too many to go through"])
def test_of_many_points_with_the_same_first_cost_one_is_looked_at(
    span: int, resolution: int, monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Thousands cost 5, or 4 to 7: the best of them for the later costs is found without a search, and by hand."""
    looked_at = 0
    of = free_of_cost(span, Fraction(resolution))

    def counted(values: tuple[Fraction, ...]) -> tuple[Fraction, ...]:
        nonlocal looked_at
        looked_at += 1
        return of.completed(values)

    monkeypatch.setattr(whole_points, "_searched", None)
    found = solve_whole(replace(of, completed=counted), Fraction(5))
    assert found is not None
    half = span // 2
    first, more = min(half, 7), max(0, 7 - half)
    assert found.values[:5] == (half + first, half + more, half, half, 5 if resolution == 1 else 7)
    assert found.settled and found.proof == "exact" and found.bound == 5
    assert looked_at < 50


def test_without_multipliers_for_the_later_costs_there_is_an_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """The simplex gives a large programme up; HiGHS is asked, and has the answer that is found by hand above."""
    def given_up(_: LinearModel) -> None:
        raise NotProven("too many pivots")

    monkeypatch.setattr(whole_points, "continuous_prices", given_up)
    found = solve_whole(free_of_cost(12, ONE), Fraction(5))
    assert found is not None and found.values[:5] == (12, 7, 6, 6, 5)


@pytest.mark.parametrize("dearer", [0, 1])
def test_costs_nearer_than_doubles_tell_are_told_apart(dearer: int) -> None:
    """Five of either: one costs a billionth of a thousandth more."""
    cost = [ONE, ONE]
    cost[dearer] += Fraction(1, 10**12)
    variables = tuple(Variable(name, ZERO, 9 * ONE, ONE) for name in "xy")
    model = LinearModel(variables, (Row("five", (ONE, ONE), ">=", 5 * ONE),), (tuple(cost),))
    whole = WholeModel(model, (ONE, ONE), lambda values: values, count=2)
    lattice = lattice_of(model, 2)
    assert lattice is not None
    found = enumerated(whole, lattice, [1.0])
    assert found.complete and found.values == ((0, 5) if dearer == 0 else (5, 0))


def test_a_weight_between_two_of_its_steps_is_none_whatever_the_time() -> None:
    """Beside a narrow band, and of a cost that is not one of each weight by itself: no half has a sum."""
    variables = tuple(Variable(name, ZERO, Fraction(20), ONE) for name in "xyz")
    a, b = (ZERO, Fraction(37, 100), Fraction(61, 100), ZERO), (ONE, ZERO, ZERO, ZERO)
    rows = (Row("band", a, ">=", Fraction(98, 100)), Row("band", a, "<=", Fraction(981, 1000)),
            Row("x", b, ">=", Fraction(102, 10)), Row("x", b, "<=", Fraction(106, 10)),
            Row("largest", (-ONE, -ONE, -ONE, ONE), ">=", ZERO))
    model = LinearModel((*variables, Variable("largest", ZERO, Fraction(60), open=True)), rows,
                        ((ZERO, ZERO, ZERO, ONE),))
    whole = WholeModel(model, (ONE, ONE, ONE, None), lambda values: (*values[:3], sum(values[:3], ZERO)), count=3)
    lattice = lattice_of(model, 3)
    assert lattice is not None and lattice.empty and not lattice.costed and narrowest(whole, lattice) is not None
    assert not off_the_grid(replace(whole, grids=(None, ONE, ONE, None)))
    for grids in ((ONE, ONE, ONE, None), (None, ONE, ONE, None)):
        with within(0):
            assert solve_whole(replace(whole, grids=grids), ZERO) is None


@pytest.mark.parametrize("seed", [1249, 1807, 2616])
def test_of_first_costs_that_count_as_equal_the_search_says_which_is_the_answer(
        seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only some points of a narrow band are known; of all the best for the later costs has a higher first cost."""
    monkeypatch.setattr(whole_points, "enumerated", lambda *_, **__: Enumerated(None, 0.0, complete=False))
    monkeypatch.setattr(whole_points, "narrow_point", lambda *given: narrow_point(*given, (3, 6)))
    rng = random.Random(seed)
    whole = moved_model(rng, narrow=True)
    count, costs = whole.count, whole.model.costs
    linear = (*(Fraction(rng.randint(0, 900), 100) for _ in range(count)), *[ZERO] * (2 * count))
    whole = replace(whole.with_costs((linear, *costs)), resolution=Fraction(50), grids=(Fraction(1, 1000),) * 3 * count)
    answer, every = solve_whole(whole, ZERO), list(all_points(whole))
    assert answer is not None and answer.proven and answer.settled
    assert answer.objective > min(dot(linear, point) for point in every)
    assert answer.values == min(every, key=lambda point: [whole.cut(dot(linear, point)), *(
        dot(cost, point) for cost in costs)])
