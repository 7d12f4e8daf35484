"""Whether a model has a point: in rationals, against GLOP and SCIP on random models, and by hand."""

from __future__ import annotations

import itertools
import random
from fractions import Fraction

import pytest

from ratio_solver.lp import feasibility
from ratio_solver.lp.branching import settle
from ratio_solver.lp.feasibility import has_point
from ratio_solver.lp.lower_bound import least_cost
from ratio_solver.lp.model import LinearModel, Row, Variable
from ratio_solver.lp.solve import Infeasible, Solution, solve_lp

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

ZERO, ONE = Fraction(0), Fraction(1)


def drawn(rng: random.Random, step: bool = False) -> LinearModel:
    """Two to five variables from 0 to 20, two to six rows in whole figures."""
    count = rng.randint(2, 5)
    variables = tuple(Variable(f"x{j}", ZERO, Fraction(rng.randint(1, 20)),
                               Fraction(rng.choice((1, 2, 5))) if step else None) for j in range(count))
    rows = tuple(Row(f"r{k}", tuple(Fraction(rng.randint(-5, 5)) for _ in range(count)), rng.choice((">=", "<=")),
                     Fraction(rng.randint(-25, 45))) for k in range(rng.randint(2, 6)))
    return LinearModel(variables, rows, (tuple(Fraction(rng.randint(1, 9)) for _ in range(count)),))


def others_say(model: LinearModel) -> bool:
    """Whether GLOP, or SCIP where there are steps, finds a point."""
    program = second_opinion.Program()
    stepped = [variable.step for variable in model.variables]
    for variable in model.variables:
        step = variable.step or ONE
        program.variable(variable.lower / step, (variable.upper // step) if variable.step else variable.upper,
                         integer=variable.step is not None)
    for row in model.rows:
        entries = {j: a * (stepped[j] or ONE) for j, a in enumerate(row.coefficients)}
        program.row(entries, **{"low" if row.sense == ">=" else "high": row.bound})
    return second_opinion.by_ortools(program, "SCIP" if any(stepped) else "GLOP") is not None


@pytest.mark.parametrize("step", [False, True], ids=["between the steps", "on the steps"])
def test_as_other_solvers_say(step: bool) -> None:
    rng, told = random.Random(7), {True: 0, False: 0}
    for number in range(250):
        model = drawn(rng, step)
        found = has_point(model)
        assert found is not None and found == others_say(model), number
        told[found] += 1
    assert min(told.values()) > 40


def test_how_finely_it_tells() -> None:
    """x + y <= 1 and x + y >= 1 + 1e-6 are not kept together; a model in which nothing moves is judged exactly."""
    def model(least: Fraction) -> LinearModel:
        variables = tuple(Variable(name, ZERO, Fraction(10)) for name in "xy")
        return LinearModel(variables, (Row("most", (ONE, ONE), "<=", ONE), Row("least", (ONE, ONE), ">=", least)),
                           ((ONE, ONE),))

    assert has_point(model(ONE)) is True
    assert has_point(model(ONE + Fraction(1, 10**6))) is False
    fixed = LinearModel((Variable("x", ONE, ONE),), (Row("least", (ONE,), ">=", ONE + Fraction(1, 10**15)),), ((ONE,),))
    assert has_point(fixed) is False


def test_the_simplex_method_in_rationals_decides_where_multipliers_do_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """Multipliers that are worth nothing: the verdicts stay the same."""
    monkeypatch.setattr(feasibility, "dual_bound", lambda *_: Fraction(-1))
    rng = random.Random(8)
    for number in range(60):
        model = drawn(rng)
        assert has_point(model) == others_say(model), number


def choice(rng: random.Random) -> LinearModel:
    """At most so many of three to six weights, rows and costs over them; tied with a `most` of a million."""
    count = rng.randint(3, 6)
    weights = tuple(Variable(f"w{j}", ZERO, Fraction(rng.randint(3, 20))) for j in range(count))
    used = tuple(Variable(f"w{j} used", ZERO, ONE, step=ONE) for j in range(count))
    none = (ZERO,) * count

    def unit(place: int, value: int) -> tuple[Fraction, ...]:
        return tuple(Fraction(value) if j == place else ZERO for j in range(count))

    ties = tuple(Row(f"w{j} only if used", (*unit(j, -1), *unit(j, 10**6)), ">=", ZERO, definition=True)
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
        settled = settle(model)
        assert isinstance(settled, Infeasible) == (not values), number
        if not values:
            continue
        possible += 1
        assert not isinstance(settled, Infeasible)
        found = solve_lp(settled)
        assert isinstance(found, Solution) and found.objective == pytest.approx(min(values), abs=1e-6), number
        assert float(least_cost(model)) == pytest.approx(min(values), abs=1e-6), number
        used = [place for place in range(count) if found.values[place] > 1e-9]
        assert len(used) <= at_most, number
    assert 20 < possible < 80
