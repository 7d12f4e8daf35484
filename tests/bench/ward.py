"""A ward kitchen: 200 people, 5 meals, 12 dishes; time and memory, and against SciPy on the same arrays.

    python -m tests.bench.ward [PEOPLE [linked [GRAMS]] [exact]]

`linked` puts a stock of cream over all, 60 g a person unless said, so that everyone is in one programme; `exact` is to
any fraction of a gram.
"""

from __future__ import annotations

import random
import resource
import sys
import time
from pathlib import Path

import numpy as np
from scipy.optimize import linprog

from ratio_solver import FoodTable, Person, Target, load_foods, read_recipe, solve, solve_day
from ratio_solver.day.kitchen import cooked
from ratio_solver.day.linked import Programme
from ratio_solver.day.model import Course, Day, Meal, Pot
from ratio_solver.day.serving import serving

EXAMPLES = Path(__file__).resolve().parent.parent.parent / "examples"
DISHES = ("day/seed-porridge", "day/omelette", "day/almond-pancakes", "mascarpone-slice", "celeriac-gratin",
          "salmon-soup", "day/mushroom-soup", "day/baked-trout", "moussaka", "butter-chicken", "lamb-pie", "onion-tart")
MEALS = {"breakfast": (0, 1), "snack": (2, 3), "lunch": (4, 5, 6), "tea": (3, 0), "dinner": (7, 8, 9, 10, 11)}
BESIDE = (("cream, heavy (36 % fat)", 120.0), ("olive oil", 45.0), ("butter, unsalted", 40.0), ("gruyere", 60.0))


def ward(foods: FoodTable, people: int, cream_each: float | None) -> Day:
    """A day of so many people, each with a prescription of their own; with a stock of so much cream a person, g."""
    rng = random.Random(200)
    pots = tuple(Pot(read_recipe(EXAMPLES / f"{name}.toml", foods), name) for name in DISHES)
    everyone = tuple(_person(rng, number) for number in range(people))
    beside = tuple(Course(None, foods.get(name), maximum=most) for name, most in BESIDE)
    meals = tuple(Meal(name, (*(Course(place, None) for place in dishes), *beside), tuple(range(people)))
                  for name, dishes in MEALS.items())
    cream = foods.get("cream, heavy (36 % fat)")
    stock = {} if cream_each is None else {cream.id: (cream, cream_each * people)}
    return Day("ward", everyone, pots, meals, stock)


def _person(rng: random.Random, number: int) -> Person:
    energy = rng.randrange(1200, 2400, 50)
    ratio = rng.choice((1.5, 2.0, 2.5, 3.0))
    protein = round(energy / (9 * ratio + 4) * 0.55)
    shares = {"breakfast": 2.0, "snack": 1.0, "lunch": 3.0, "tea": 1.0, "dinner": 3.0}
    return Person(f"bed {number + 1}", (Target("ratio", ratio), Target("protein_g", float(protein))), float(energy),
                  0.15, shares)


def main() -> None:
    people = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    grams = next((float(word) for word in sys.argv[2:] if word.replace(".", "").isdigit()), 60.0)
    linked = "linked" in sys.argv
    day = ward(load_foods(), people, grams if linked else None)
    begun, busy = time.perf_counter(), time.process_time()
    answer = solve_day(day, exact="exact" in sys.argv)
    took, busy = time.perf_counter() - begun, time.process_time() - busy
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{people} people, {len(answer.had)} portions, {len(answer.answers)} programmes: {answer.outcome} in "
          f"{took:.1f} s ({busy:.1f} s of processor time), {memory:.0f} MB")
    print(f"{float(answer.moved):.1f} g moved, at least {float(answer.least):.1f} g, proven {answer.proven}, "
          f"{len(answer.diagnoses)} impossible")
    if linked:
        against_scipy(day)


def against_scipy(day: Day) -> None:
    """The one linear programme of all, with its exact bound, against SciPy on the same arrays in the same run."""
    pots = [cooked(pot, solve(pot.recipe).grams_of_each) for pot in day.pots]
    kitchen = serving(day, pots)
    [block] = kitchen.components
    programme = Programme(kitchen, block)
    cost, matrix, bound, _, lower, upper = programme.arrays
    for _ in range(3):
        begun = time.process_time()
        ours = programme.solved()
        value = programme.bound(ours.row_prices.tolist())
        middle = time.process_time()
        found = linprog(cost, A_ub=-matrix, b_ub=-bound, bounds=np.column_stack((lower, upper)), method="highs")
        theirs = time.process_time() - middle
        print(f"linear programme of {len(cost)} variables and {len(bound)} rows: {middle - begun:.2f} s with its exact "
              f"bound {float(value):.3f}, SciPy {theirs:.2f} s for {found.fun + float(programme.constant):.3f}; "
              f"{(middle - begun) / theirs:.2f} times")


if __name__ == "__main__":
    main()
