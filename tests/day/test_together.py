"""Dishes solved together with the day: never more grams moved than dish by dish under any split of the day's limits."""

from __future__ import annotations

import random
from fractions import Fraction
from pathlib import Path

import pytest

from ratio_solver import Day, FoodTable, Target, load_foods, read_days, read_recipe, solve, solve_day

EXAMPLES = Path(__file__).resolve().parent.parent.parent / "examples"
NAMES = ("moussaka", "salmon-soup", "celeriac-gratin")
SPLITS = 100


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


def one_of_each(folder: Path, foods: FoodTable, most: float) -> Day:
    """A day with a serving of each dish, and so much carbohydrate at most."""
    meals = []
    for name in NAMES:
        alone = solve(read_recipe(EXAMPLES / f"{name}.toml", foods), exact=True)
        portion = float(alone.facts.weight if alone.facts.cooked is None else alone.facts.cooked)
        meals.append(f'[[meals]]\nname = "{name}"\n'
                     f'dishes = [{{file = "{EXAMPLES}/{name}.toml", portion = {portion:.9f}}}]\n')
    (folder / "day.toml").write_text(f"""title = "carbs of a day"
[[people]]
name = "A"
net_carbs = {most:.4f}
within = 0.5
{"".join(meals)}""", encoding="utf-8")
    [day] = read_days(folder / "day.toml", foods)
    return day


def test_no_split_of_the_days_carbohydrate_moves_fewer_grams(tmp_path: Path, foods: FoodTable) -> None:
    """A serving of each of three dishes; the day's carbs are split at random, and each dish is held to its part.

    Each dish alone keeps its own limits as well; a split under which a dish has no answer is no better.
    """
    recipes = {name: read_recipe(EXAMPLES / f"{name}.toml", foods) for name in NAMES}
    carbs = [solve(recipe, exact=True).facts.amounts["net_carbs_g"] for recipe in recipes.values()]
    most = round(float(sum(carbs)) * 0.96, 4)
    answer = solve_day(one_of_each(tmp_path, foods, most), together=True, exact=True)
    assert answer.outcome == "solved"
    for portion, share in answer.kitchen.shares.items():
        pot = answer.kitchen.pots[answer.kitchen.course(portion).pot]
        assert abs(share * pot.pot.recipe.servings - 1) < Fraction(1, 10**8)  # a serving, whose carbs are split
    rng = random.Random(100)
    better = solved = 0
    for _ in range(SPLITS):
        cuts = [float(amount) * rng.uniform(0.95, 1.05) for amount in carbs]
        parts = [most * cut / sum(cuts) for cut in cuts]
        moved = Fraction(0)
        for recipe, part in zip(recipes.values(), parts, strict=True):
            own = recipe.target("net_carbs_g").maximum
            alone = solve(recipe.with_targets(Target("net_carbs_g", None, min(own, part))), exact=True)
            if alone.outcome != "solved":
                break
            moved += alone.objective.value
        else:
            solved += 1
            better += moved < answer.moved - Fraction(1, 10**4)
    print(f"{solved} of {SPLITS} splits have an answer; together {float(answer.moved):.3f} g moved")
    assert solved >= 10 and not better


def test_the_price_of_a_limit_of_the_day_is_what_it_costs_in_the_dishes(tmp_path: Path, foods: FoodTable) -> None:
    """The change of the grams moved, by solving again with a limit of the day a little tighter."""
    one, tighter = (solve_day(one_of_each(tmp_path, foods, most), together=True, exact=True) for most in (26.5, 26.49))
    [state] = [state for state in one.states if state.limit.name.startswith("A: day: net carbs")]
    assert state.binding and state.price < 0
    assert abs(float(tighter.moved - one.moved) - 0.01 * -state.price) < 1e-4 * abs(state.price)
    costs = dict(one.costs_of(state.limit))
    assert abs(sum(costs.values()) - state.price) < 1e-6 * abs(state.price) and costs
