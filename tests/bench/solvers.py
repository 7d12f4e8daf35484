"""How fast a menu is solved, against every way it could be scripted; ratios of one run on one machine.

    python -m tests.bench.solvers [RECIPES [RUNS]]

The command is run whole: CSV in, four CSV files out with slacks and prices, on all cores. The others get arrays
ready-made and only solve, one recipe after the other on one core, on the first `SAMPLE` recipes; the same dishes.
The extra `bench` adds the modelling layers and the other solvers; one that is not installed is left out.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from ratio_solver import load_foods
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.foods.policy import Policy
from ratio_solver.lp.stack import solve_stack
from ratio_solver.menu.arrays import joined
from ratio_solver.menu.columns import menu_columns
from ratio_solver.menu.moves import moves_of
from ratio_solver.menu.read import open_menu, parsed, pieces
from ratio_solver.menu.rows import FoodArrays, rows_of
from tests.bench.menus import Dish, dishes, write_menu
from tests.bench.menus import rows_of as dish_rows

ROOT = Path(__file__).resolve().parent.parent.parent
SAMPLE = 400
FEW = 100
"""Recipes for the slow ways."""


class Arrays:
    """A dish as the arrays a script would hand to a solver: weights, up, down."""

    def __init__(self, dish: Dish) -> None:
        n = len(dish.start)
        matrix, self.less = dish_rows(dish)
        self.n, self.start, self.low, self.high, self.matrix = n, dish.start, dish.low, dish.high, matrix
        self.cost = np.concatenate((np.zeros(n), np.ones(2 * n)))
        self.a_ub = np.hstack((matrix, np.zeros((2, 2 * n))))
        self.a_eq = np.hstack((np.eye(n), -np.eye(n), np.eye(n)))
        self.bounds = np.column_stack((np.concatenate((dish.low, np.zeros(2 * n))),
                                       np.concatenate((dish.high, np.full(2 * n, np.inf)))))
        self.whole = [LinearConstraint(self.a_ub, -np.inf, self.less),
                      LinearConstraint(self.a_eq, dish.start, dish.start)]
        self.counts = np.concatenate((np.ones(n), np.zeros(2 * n)))


def by_linprog(a: Arrays) -> float:
    return float(linprog(a.cost, A_ub=a.a_ub, b_ub=a.less, A_eq=a.a_eq, b_eq=a.start, bounds=a.bounds).fun)


def by_milp(a: Arrays, whole: bool) -> float:
    found = milp(a.cost, integrality=a.counts if whole else np.zeros(len(a.cost)),
                 bounds=Bounds(a.bounds[:, 0], a.bounds[:, 1]), constraints=a.whole, options={"mip_rel_gap": 0.0})
    return float(found.fun) if found.fun is not None else float("nan")


def by_highspy() -> Callable[[Arrays], float]:
    import highspy

    def solve(a: Arrays) -> float:
        model = highspy.Highs()
        model.setOptionValue("output_flag", False)
        for cost, (low, high) in zip(a.cost, a.bounds, strict=True):
            model.addCol(float(cost), float(low), float(high), 0, np.zeros(0, dtype=np.int32), np.zeros(0))
        for rows, low, high in ((a.a_ub, np.full(2, -highspy.kHighsInf), a.less), (a.a_eq, a.start, a.start)):
            for row, least, most in zip(rows, low, high, strict=True):
                places = np.flatnonzero(row).astype(np.int32)
                model.addRow(float(least), float(most), len(places), places, row[places])
        model.run()
        return float(model.getInfo().objective_function_value)

    return solve


def by_ortools(whole: bool) -> Callable[[Arrays], float]:
    from ortools.linear_solver import pywraplp

    def solve(a: Arrays) -> float:
        solver = pywraplp.Solver.CreateSolver("SCIP" if whole else "GLOP")
        weights = [(solver.IntVar if whole else solver.NumVar)(float(low), float(high), "")
                   for low, high in zip(a.low, a.high, strict=True)]
        moves = [solver.NumVar(0, solver.infinity(), "") for _ in range(a.n)]
        for w, move, start in zip(weights, moves, a.start, strict=True):
            solver.Add(move >= w - float(start))
            solver.Add(move >= float(start) - w)
        for row, less in zip(a.matrix, a.less, strict=True):
            solver.Add(sum(float(c) * w for c, w in zip(row, weights, strict=True)) <= float(less))
        solver.Minimize(sum(moves))
        solver.Solve()
        return float(solver.Objective().Value())

    return solve


def by_pulp(whole: bool) -> Callable[[Arrays], float]:
    import pulp

    def solve(a: Arrays) -> float:
        problem = pulp.LpProblem()
        weights = [pulp.LpVariable(f"w{k}", float(low), float(high), "Integer" if whole else "Continuous")
                   for k, (low, high) in enumerate(zip(a.low, a.high, strict=True))]
        moves = [pulp.LpVariable(f"m{k}", 0) for k in range(a.n)]
        problem += pulp.lpSum(moves)
        for w, move, start in zip(weights, moves, a.start, strict=True):
            problem += move >= w - float(start)
            problem += move >= float(start) - w
        for row, less in zip(a.matrix, a.less, strict=True):
            problem += pulp.lpSum(float(c) * w for c, w in zip(row, weights, strict=True)) <= float(less)
        problem.solve(pulp.PULP_CBC_CMD(msg=False))
        return float(pulp.value(problem.objective))

    return solve


def by_cvxpy() -> Callable[[Arrays], float]:
    import cvxpy

    def solve(a: Arrays) -> float:
        w = cvxpy.Variable(a.n)
        problem = cvxpy.Problem(cvxpy.Minimize(cvxpy.norm1(w - a.start)),
                                [a.matrix @ w <= a.less, w >= a.low, w <= a.high])
        return float(problem.solve(solver=cvxpy.CLARABEL))

    return solve


Times = tuple[float, float]
"""Milliseconds per recipe: by the clock, and of processor time, which other work on the machine disturbs less."""


def per_recipe(solve: Callable[[Arrays], float], arrays: list[Arrays]) -> Times:
    """Time to solve one recipe after the other."""
    begin, processor = time.perf_counter(), sum(os.times()[:4])
    for a in arrays:
        solve(a)
    return ((time.perf_counter() - begin) / len(arrays) * 1e3, (sum(os.times()[:4]) - processor) / len(arrays) * 1e3)


def command(menu: Path, out: Path, count: int, *options: str) -> Times:
    """Time of the whole command per recipe."""
    begin, processor = time.perf_counter(), sum(os.times()[:4])
    subprocess.run([sys.executable, "-m", "ratio_solver", "menu", str(menu), "-o", str(out), *options], check=True,
                   cwd=ROOT, stderr=subprocess.DEVNULL)
    return (time.perf_counter() - begin) / count * 1e3, (sum(os.times()[:4]) - processor) / count * 1e3


def stack_alone(menu: Path) -> Times:
    """Time of the stacked solve alone per recipe, one core: the limit of this design."""
    foods = load_foods()
    opened = open_menu(menu)
    piece = next(pieces(opened, 1 << 20))
    arrays = joined(parsed(piece)[0], menu_columns(opened.header, foods.columns), foods)
    part = arrays.taken(np.flatnonzero(arrays.plain))
    stack = moves_of(rows_of(part, FoodArrays(foods, foods.foods, Policy())), "closest", None).stack
    begin, processor = time.perf_counter(), sum(os.times()[:4])
    solve_stack(stack)
    return ((time.perf_counter() - begin) / part.count * 1e3, (sum(os.times()[:4]) - processor) / part.count * 1e3)


def others() -> dict[str, tuple[Callable[[Arrays], float], bool, int]]:
    """Ways to solve one recipe: the function, whether in whole grams, and on how many recipes it is run."""
    found: dict[str, tuple[Callable[[Arrays], float], bool, int]] = {
        "linprog, loop": (by_linprog, False, SAMPLE),
        "milp, loop, no whole grams": (lambda a: by_milp(a, False), False, SAMPLE),
        "milp, loop, whole grams": (lambda a: by_milp(a, True), True, SAMPLE),
    }
    extra: list[tuple[str, Callable[[], Callable[[Arrays], float]], bool]] = [
        ("HiGHS by its own binding", by_highspy, False), ("GLOP by OR-tools", lambda: by_ortools(False), False),
        ("CBC by PuLP", lambda: by_pulp(False), False), ("Clarabel by CVXPY", by_cvxpy, False),
        ("SCIP by OR-tools, whole grams", lambda: by_ortools(True), True),
        ("CBC by PuLP, whole grams", lambda: by_pulp(True), True),
    ]
    for name, make, whole in extra:
        try:
            found[name] = (make(), whole, FEW)
        except ImportError:
            print(f"  ({name}: not installed)")
    return found


def main() -> None:
    given = [int(text) for text in sys.argv[1:3]]
    count, runs = (*given, *(50_000, 5)[len(given):])
    arrays = [Arrays(dish) for dish in dishes(SAMPLE, 1, bundled_path())]
    ways = others()
    times: dict[str, list[Times]] = {}
    with tempfile.TemporaryDirectory() as folder:
        menu = Path(folder) / "menu.csv"
        write_menu(menu, count, 1, bundled_path())
        for _ in range(runs):
            for name, (solve, _, size) in ways.items():
                times.setdefault(name, []).append(per_recipe(solve, arrays[:size]))
            times.setdefault("stacked solve alone", []).append(stack_alone(menu))
            times.setdefault("menu --exact", []).append(command(menu, Path(folder) / "exact", count, "--exact"))
            times.setdefault("menu", []).append(command(menu, Path(folder) / "whole", count))
    objectives = {name: [solve(a) for a in arrays[:20]] for name, (solve, whole, _) in ways.items() if not whole}
    first = next(iter(objectives.values()))
    assert all(np.allclose(values, first, rtol=1e-4, atol=1e-3) for values in objectives.values())
    print(f"{count:,} recipes, {runs} runs, {len(os.sched_getaffinity(0))} cores, {platform.machine()}, "
          f"Python {platform.python_version()}")
    print(f"{'':31}{'ms per recipe, clock':^26}{'processor':>10}{'x menu --exact':>15}{'x menu':>8}")
    print(f"{'':31}{'min':>8}{'median':>9}{'max':>9}{'median':>10}{'median':>15}{'median':>8}")
    clock = {name: np.array(values)[:, 0] for name, values in times.items()}
    work = {name: np.array(values)[:, 1] for name, values in times.items()}
    for name, values in clock.items():
        shares = [np.median(values / clock[mine]) for mine in ("menu --exact", "menu")]
        print(f"{name:31}{values.min():8.3f}{np.median(values):9.3f}{values.max():9.3f}{np.median(work[name]):10.3f}"
              f"{shares[0]:15.1f}{shares[1]:8.1f}")
    print("ratios of runs side by side: min, median, max; and of processor time spread over the cores")
    cores = len(os.sched_getaffinity(0))
    for other, mine in (("linprog, loop", "menu --exact"), ("milp, loop, whole grams", "menu")):
        shares = clock[other] / clock[mine]
        spread = np.median(work[other] / (work[mine] / cores))
        print(f"  {other} / {mine}: {shares.min():.1f}, {np.median(shares):.1f}, {shares.max():.1f}; {spread:.1f}")


if __name__ == "__main__":
    main()
