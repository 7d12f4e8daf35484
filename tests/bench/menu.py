"""How fast a menu is solved, kind by kind of what kitchens write, beside loops given the same rows.

    python -m tests.bench.menu [--count RECIPES] [--sample RECIPES] [--seed N] [KIND ...]

A menu of each kind is solved in this process, from the text of the CSV to the text of the four tables, with slacks and
prices; the loops get arrays ready-made (the rows of the tool's own models) and only solve, one recipe after the other.
Processor time; what starting a process takes is no part of it. Worst rows first; the shares are those of
`tests.bench.kinds`. `python -m tests.bench.solvers` compares the whole command with more solvers on the plain kind.
"""

from __future__ import annotations

import argparse
import platform
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from ratio_solver import FoodTable, Recipe, load_foods, read_recipe, recipe_from
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.lp.model import LinearModel
from ratio_solver.menu.read import open_menu, pieces
from ratio_solver.menu.solve import MenuOptions
from ratio_solver.menu.workers import solve_piece
from ratio_solver.recipe.change import with_servings
from ratio_solver.recipe.model import Target
from ratio_solver.solving.formulation import formulate
from ratio_solver.solving.scale_steps import whole_model
from tests.bench.kinds import KINDS, Written, drawn, priced_table, write_kind


def recipe_of(written: Written, foods: FoodTable) -> Recipe:
    """The recipe that a menu's rows are."""
    if not written.file:
        return recipe_from(tomllib.loads(written.toml()), foods)
    recipe = with_servings(read_recipe(written.file, foods), written.servings)
    target, most = recipe.target(NET_CARBS) or Target(NET_CARBS), written.targets["net_carbs"]
    least = None if target.minimum is not None and target.minimum > most else target.minimum
    return recipe.with_targets(replace(target, minimum=least, maximum=most))


def by_linprog(model: LinearModel) -> Callable[[], object]:
    """The linear programme of a model, ready to be solved."""
    arrays, cost = model.arrays, model.float_costs[0]
    equal = arrays.sign == 0
    side = arrays.sign[~equal]
    rows = {"A_ub": -side[:, None] * arrays.matrix[~equal], "b_ub": -side * arrays.bound[~equal],
            "A_eq": arrays.matrix[equal], "b_eq": arrays.bound[equal]}
    rows = {key: value for key, value in rows.items() if len(value)}
    bounds = np.column_stack((arrays.lower, arrays.ceiling))
    return lambda: linprog(cost, bounds=bounds, **rows)


def by_milp(model: LinearModel) -> Callable[[], object]:
    """The programme in whole steps of a model, ready to be solved."""
    arrays, cost = model.arrays, model.float_costs[0]
    counts, steps, bases = model.steps
    more, less = (end - arrays.matrix @ bases for end in arrays.ends)
    low = np.where(counts, np.ceil((arrays.lower - bases) / steps - 1e-9), arrays.lower)
    high = np.where(counts, np.floor((arrays.ceiling - bases) / steps + 1e-9), arrays.ceiling)
    rows = [LinearConstraint(arrays.matrix * steps, more, less)]
    return lambda: milp(cost * steps, integrality=counts, bounds=Bounds(low, high), constraints=rows,
                        options={"mip_rel_gap": 0.0, "time_limit": 20})


def per_recipe(ways: list[Callable[[], object]]) -> float:
    """Processor time of each, ms."""
    begin = time.process_time()
    for solve in ways:
        solve()
    return (time.process_time() - begin) / len(ways) * 1e3


def by_menu(menu: Path, foods: FoodTable, options: MenuOptions) -> tuple[float, dict[str, int]]:
    """Processor time of each recipe of a menu, ms, and what became of them."""
    begin, counts = time.process_time(), dict[str, int]()
    for piece in pieces(open_menu(menu)):
        found = solve_piece(piece, foods, options).counts
        for word, number in (*found.items(), ("alone", found.alone)):
            counts[word] = counts.get(word, 0) + number
    return (time.process_time() - begin) / max(1, counts["solved"] + counts["impossible"]) * 1e3, counts


def measured(name: str, count: int, sample: int, seed: int, foods: FoodTable) -> dict[str, float]:
    """One row of the table."""
    kind = KINDS[name]
    recipes = drawn(name, count, seed, bundled_path())
    models = [formulate(recipe_of(recipe, foods), kind.prefer) for recipe in recipes[:sample]]
    row = {"share": kind.share,
           "linprog": per_recipe([by_linprog(one.model) for one in models]),
           "milp": per_recipe([by_milp(whole_model(one).model) for one in models])}
    with tempfile.TemporaryDirectory() as folder:
        menu = write_kind(name, recipes, Path(folder))
        for key, exact in (("exact", True), ("steps", False)):
            row[key], counts = by_menu(menu, foods, MenuOptions(kind.prefer, exact=exact, folder=folder))
            row[f"{key} alone"] = 100 * counts.get("alone", 0) / count
        row["impossible"] = 100 * counts["impossible"] / count
        if counts["unreadable"]:
            print(f"  ({name}: {counts['unreadable']} unreadable)", flush=True)
    row["by exact"], row["by steps"] = row["exact"] / row["linprog"], row["steps"] / row["milp"]
    return row


def printed(table: dict[str, dict[str, float]]) -> None:
    """The table, worst rows first, and the mean in the kitchen's shares."""
    print(f"{'':27}{'of':>4}{'no':>5}|{'--exact':>9}{'linprog':>9}{'times':>7}{'alone':>7}|"
          f"{'steps':>8}{'milp':>8}{'times':>7}{'alone':>7}")
    print(f"{'kind':27}{'100':>4}{'%':>5}|{'ms':>9}{'ms':>9}{'':>7}{'%':>7}|{'ms':>8}{'ms':>8}{'':>7}{'%':>7}")
    shares = np.array([row["share"] for row in table.values()])
    mean = {key: float(shares @ [row[key] for row in table.values()] / shares.sum())
            for key in ("impossible", "exact", "linprog", "exact alone", "steps", "milp", "steps alone")}
    mean |= {"share": float(shares.sum()), "by exact": mean["exact"] / mean["linprog"],
             "by steps": mean["steps"] / mean["milp"]}
    worst = sorted(table, key=lambda name: -max(table[name]["by exact"] / 2, table[name]["by steps"]))
    for name in [*worst, "in the kitchen's shares"]:
        row = table.get(name, mean)
        print(f"{name:27}{row['share']:4.0f}{row['impossible']:5.0f}|{row['exact']:9.3f}{row['linprog']:9.3f}"
              f"{row['by exact']:7.2f}{row['exact alone']:7.1f}|{row['steps']:8.3f}{row['milp']:8.3f}"
              f"{row['by steps']:7.2f}{row['steps alone']:7.1f}")


def main() -> None:
    """Print the table."""
    reader = argparse.ArgumentParser(prog="python -m tests.bench.menu")
    reader.add_argument("kinds", nargs="*", metavar="KIND", help="what the kinds' names begin with; all unless said")
    reader.add_argument("--count", type=int, default=500, help="recipes of a kind")
    reader.add_argument("--sample", type=int, default=60, help="of which the loops solve so many")
    reader.add_argument("--seed", type=int, default=1)
    asked = reader.parse_args()
    names = [name for name in KINDS if not asked.kinds or any(name.startswith(word) for word in asked.kinds)]
    table: dict[str, dict[str, float]] = {}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "foods.csv"
        priced_table(bundled_path(), path)
        foods = load_foods(path, bundled=False)
        # What is made once a process: the arrays of the foods that are used, here nearly all of the table.
        plain = next(iter(KINDS))
        by_menu(write_kind(plain, drawn(plain, asked.count, asked.seed, bundled_path()), Path(folder)), foods,
                MenuOptions(exact=True))
        for name in names:
            table[name] = measured(name, asked.count, asked.sample, asked.seed, foods)
            print(f"  ({name})", file=sys.stderr, flush=True)
    print(f"{asked.count:,} recipes of a kind, seed {asked.seed}; one process, {platform.machine()}, "
          f"Python {platform.python_version()}; processor time of a recipe")
    printed(table)


if __name__ == "__main__":
    main()
