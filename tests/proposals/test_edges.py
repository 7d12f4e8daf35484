"""Dishes at the edge of what there is to solve: nothing to move, nothing below the line, too much to choose from."""

from __future__ import annotations

import random
from fractions import Fraction
from typing import Any

import pytest

from ratio_solver import Impossible, Proposal, adjust, curve, load_foods, recipe_from, solve
from ratio_solver.faults import NotProven
from tests.kitchen import dish

FOODS = load_foods()


def test_a_dish_of_fixed_weights_near_its_targets_has_an_answer() -> None:
    """Targets drawn within 1e-6 of what the weights have: solved where they are kept, else told; never a traceback."""
    outcomes = set()
    for seed in range(60):
        rng = random.Random(seed)
        written = dish([{"food": name, "grams": rng.randint(1, 200)} for name in ("butter, salted", "milk, whole")],
                       rng.randint(1, 5))
        facts = solve(recipe_from(written, FOODS)).facts  # type: ignore[union-attr]
        values = {name: facts.amounts[f"{name}_g"] for name in ("protein", "net_carbs", "fat")} | {"ratio": facts.ratio}
        written["targets"], kept = {}, True
        for name in rng.sample(list(values), rng.randint(1, 3)):
            bound = round(float(values[name]) + rng.choice((0, 1e-9, 1e-8, 1e-7, 1e-6)) * rng.choice((1, -1)), 12)
            end = rng.choice(("min", "max"))
            written["targets"][name] = {end: bound}
            over = values[name] - Fraction(str(bound))
            kept &= over >= 0 if end == "min" else over <= 0
        recipe = recipe_from(written, FOODS)
        assert isinstance(solve(recipe), Proposal if kept else Impossible), seed
        solve(recipe, exact=True)
        adjust(recipe, {"butter, salted": written["ingredients"][0]["grams"]})
        outcomes.add(kept)
    assert outcomes == {True, False}


@pytest.mark.parametrize("ratio", [10, 400, 600, 900])
def test_a_curve_of_dishes_that_are_all_above_a_thousand(ratio: float) -> None:
    """Two fats and 1 g of milk: some 1,900:1 at the least, whatever is asked for."""
    written = dish([{"food": "olive oil", "grams": 100, "min": 150, "max": 200}, {"food": "milk, whole", "grams": 1},
                    {"food": "lard", "grams": 10, "min": 5, "max": 20}], targets={"ratio": ratio, "net_carbs": 9})
    found = curve(recipe_from(written, FOODS))
    assert found.best_ratio == 1000
    assert all(one.endless and not one.pieces for one in found.curves)


def choosing(of: int, at_most: int) -> dict[str, Any]:
    names = [food.name for food in FOODS if food.role == "vegetable"][:of]
    return dish([{"food": "olive oil", "grams": 100, "min": 50, "max": 200},
                 {"food": "chicken breast, skinless, roasted", "grams": 200, "min": 100, "max": 400},
                 *({"food": name, "grams": 20 + place, "min": 0, "max": 200} for place, name in enumerate(names))],
                4, targets={"ratio": 2, "net_carbs": 9}, choose=[{"from": names, "at_most": at_most}],
                proportions=[{"of": names, "to": "batch", "min": 0.4}])


def test_a_curve_through_too_many_choices_is_refused_at_once() -> None:
    """4 of 12 are 495 ways: `solve` takes them, a curve says how many are too many. 2 of 5 are 10."""
    many = recipe_from(choosing(12, 4), FOODS)
    assert isinstance(solve(many), Proposal)
    with pytest.raises(NotProven, match="495 ways to choose"):
        curve(many)
    few = curve(recipe_from(choosing(5, 2), FOODS), of=("ratio",))
    assert few.curves[0].pieces
