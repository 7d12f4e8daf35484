"""Joint repairs: what is prescribed is moved last, nothing is idle, figures are those of a kitchen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from ratio_solver import FoodTable, Impossible, Proposal, recipe_from, solve
from ratio_solver.dish.constraints import limits_of
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.infeasible.joint_change import _least_together
from ratio_solver.solving.result import Repair
from tests.kitchen import dish, food, table


@pytest.fixture
def foods(tmp_path: Path) -> FoodTable:
    return table(tmp_path, food("root", 0, 1, 9), food("butter", 80, 0, 0), food("meat", 10, 20, 0))


def joint(written: dict[str, Any], foods: FoodTable, **how: bool) -> dict[str, float]:
    answer = solve(recipe_from(written, foods), **how)
    assert isinstance(answer, Impossible) and not answer.diagnosis.repairs
    check(written, foods, answer.diagnosis.joint_repair, **how)
    return {f"{repair.limit.name} {repair.limit.sense}": float(repair.to) for repair in answer.diagnosis.joint_repair}


def check(written: dict[str, Any], foods: FoodTable, repairs: tuple[Repair, ...], **how: bool) -> None:
    """Together they solve; without any one of them they do not. By targets and bounds written into the file."""
    def solved(made: tuple[Repair, ...]) -> bool:
        changed = {**written, "targets": dict(written["targets"]),
                   "ingredients": [dict(entry) for entry in written["ingredients"]]}
        for repair in made:
            end = "min" if repair.limit.sense == ">=" else "max"
            if repair.limit.kind == "ingredient":
                label = repair.limit.name.removesuffix(f" {end}")
                next(e for e in changed["ingredients"] if e["food"] == label)[end] = float(repair.to)
            else:
                key = repair.limit.name.replace(" ", "_")
                bare = key in ("ratio", "net_carbs")
                changed["targets"][key] = float(repair.to) if bare else {end: float(repair.to)}
        return isinstance(solve(recipe_from(changed, foods), **how), Proposal)

    assert solved(repairs)
    for left in repairs:
        assert not solved(tuple(repair for repair in repairs if repair is not left))


@pytest.mark.parametrize("exact", [True, False])
def test_bounds_of_the_recipe_are_moved_before_what_is_prescribed(foods: FoodTable, exact: bool) -> None:
    """By hand: 4 g net carbs are 44.4 g of root; 9 g of fat are 11.25 g of butter, and 9 : 4.44 is above 2."""
    written = dish([{"food": "root", "grams": 100, "min": 50, "max": 100},
                    {"food": "butter", "grams": 0, "min": 0, "max": 10}],
                   targets={"ratio": 2, "net_carbs": 4, "fat": {"min": 9}})
    found = joint(written, foods, exact=exact)
    assert set(found) == {"root min >=", "butter max <="}
    assert found["root min >="] == pytest.approx(44.4, abs=0.5) and 11.25 <= found["butter max <="] <= 12


def test_another_target_is_moved_before_the_ratio_and_the_net_carbs(foods: FoodTable) -> None:
    """Fixed root and meat: what is left to move are targets; protein and energy give way, ratio and carbs stay."""
    written = dish([{"food": "root", "grams": 20}, {"food": "butter", "grams": 0, "min": 0, "max": 40}],
                   targets={"ratio": 2, "net_carbs": 1.8, "protein": {"min": 3}, "fat": {"min": 60}})
    found = joint(written, foods, exact=True)
    assert "protein >=" in found and not {"ratio >=", "net carbs <="} & set(found)


def test_figures_are_those_of_a_kitchen(foods: FoodTable) -> None:
    """Three figures at most in all but the largest change, which makes up for the rest."""
    written = dish([{"food": "root", "grams": 100, "min": 70.337, "max": 100},
                    {"food": "meat", "grams": 60, "min": 41.773, "max": 100},
                    {"food": "butter", "grams": 0, "min": 0, "max": 10}],
                   targets={"ratio": 2, "net_carbs": 5.1, "protein": {"min": 12.123}})
    answer = solve(recipe_from(written, foods), exact=True)
    assert isinstance(answer, Impossible) and len(answer.diagnosis.joint_repair) > 1
    for repair in answer.diagnosis.joint_repair[:-1]:
        assert float(f"{float(repair.to):.3g}") == float(repair.to), repair
    check(written, foods, answer.diagnosis.joint_repair, exact=True)


def test_of_two_changes_that_come_to_nearly_the_same_the_prescribed_is_spared(tmp_path: Path) -> None:
    """By hand: 4.1 g of protein are 41 g of paste and 40 mg of sodium 40 g: a gram is 1/41 of the one and 1/40 of the
    other. The protein, which is prescribed, would be the smaller change; the sodium is moved."""
    own = table(tmp_path, food("paste", protein=10, sodium_mg=100))
    recipe = recipe_from(dish([{"food": "paste", "grams": 0, "min": 0, "max": 90}],
                              targets={"protein": {"min": 4.1}, "sodium": {"max": 40}}), own)
    limits = limits_of(recipe)
    [change] = _least_together(SearchDomain(recipe), limits, limits[:2])
    assert (change.limit.name, change.to) == ("sodium", 41)
