"""Swaps: what is carried over, what follows the new label, before and after, and every food of a role."""

from __future__ import annotations

import csv
import io
import json
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, Check, Proposal, check, solve, swap, try_all
from ratio_solver.cli import main
from ratio_solver.tools.swap.compute import CARRIED, swapped
from ratio_solver.tools.swap.try_all import TRIAL_OUTCOMES
from tests.oracle.second_opinion import per_100g, written
from tests.solving.dishes import FIXED, FOODS, GRATIN, dish
from tests.tools.test_add_fat import TABLE

ORACLE = {"fat": "fat", "protein": "protein", "net-carbs": "net_carbs"}


@pytest.mark.parametrize("by", list(CARRIED))
@pytest.mark.parametrize(("old", "new"), [
    ("celeriac, raw", "cauliflower, raw"), ("gruyere", "parmesan, hard"), ("cream", "sour cream"),
    ("butter, salted", "margarine, stick, 80 % fat"), ("egg", "duck egg, whole, raw"),
])
def test_the_carried_nutrient_keeps_its_grams(by: str, old: str, new: str) -> None:
    """Start, min and max hold the same grams of it before and after, by the tests' own arithmetic."""
    recipe = dish(GRATIN)
    before = next(i for i in recipe.ingredients if i.label == old)
    changed, _ = swapped(recipe, FOODS, [(old, new)], by)
    after = next(i for i in changed.ingredients if i.label == new)
    for end in ("start", "minimum", "maximum"):
        was, now = getattr(before, end), getattr(after, end)
        if was is None:
            assert now is None
        elif by == "weight":
            assert was == now
        else:
            had = written(was) * per_100g(TABLE[before.food.name], ORACLE[by])
            has = written(now) * per_100g(TABLE[new], ORACLE[by])
            assert float(has) == pytest.approx(float(had), rel=1e-12)


def test_before_and_after_are_the_solves_of_the_two_recipes() -> None:
    pairs = [("butter, salted", "lard"), ("celeriac, raw", "cauliflower, raw")]
    found = swap(dish(GRATIN), FOODS, pairs)
    by_hand = GRATIN.replace("butter, salted", "lard").replace("celeriac, raw", "cauliflower, raw")
    assert found.before == solve(dish(GRATIN))
    assert isinstance(found.after, Proposal) and found.after.weights == solve(dish(by_hand)).weights  # type: ignore[union-attr]


def test_part_and_groups_follow_the_new_label() -> None:
    recipe = dish(GRATIN, choose=[{"from": ["butter, salted", "olive oil"], "at_most": 1}])
    changed, (one, two) = swapped(recipe, FOODS, [("butter, salted", "lard"), ("olive oil", "walnut oil")])
    assert one.new.part == "topping" and one.new.label == "lard"
    assert changed.chooses[0].labels == ("lard", "walnut oil")
    assert changed.proportions[0].of == ("walnut oil",) and changed.proportions[0].of_name == "walnut oil"
    assert changed.proportions[0].to == tuple(i.label for i in changed.ingredients)
    by_hand = dish(GRATIN.replace("butter, salted", "lard").replace("olive oil", "walnut oil"),
                   choose=[{"from": ["lard", "walnut oil"], "at_most": 1}])
    assert changed == by_hand and two.factor == 1


def test_a_food_that_is_there_already_gets_a_label_of_its_own() -> None:
    changed, (one,) = swapped(dish(GRATIN), FOODS, [("butter, salted", "olive oil")])
    assert one.new.label == "olive oil for butter, salted"
    crossed, _ = swapped(dish(GRATIN), FOODS, [("butter, salted", "olive oil"), ("olive oil", "butter, salted")])
    assert [i.label for i in crossed.ingredients] == ["celeriac, raw", "cream", "gruyere", "olive oil",
                                                      "butter, salted", "egg"]
    assert len({i.label for i in changed.ingredients}) == len(changed.ingredients)


def test_what_belongs_to_the_old_food_is_told() -> None:
    entries = GRATIN.replace('label = "egg"\ngrams = 100', 'label = "egg"\ngrams = 100\nyield = 0.9\npiece = 50')
    found = swap(dish(entries), FOODS, [("egg", "duck egg, whole, raw")])
    assert len(found.notes) == 2 and found.swaps[0].new.piece is None and found.swaps[0].new.yield_ == 0.9


def test_a_dish_without_adjustable_ingredients_is_judged_as_written() -> None:
    found = swap(dish(FIXED), FOODS, [("olive oil", "walnut oil")])
    assert found.before == check(dish(FIXED)) and isinstance(found.after, Check)
    ranked = try_all(dish(FIXED), FOODS, "olive oil", "fat")
    assert all(isinstance(trial.side, Check) for trial in ranked.trials)


@pytest.mark.slow
def test_every_food_of_a_role_is_ranked() -> None:
    found = try_all(dish(GRATIN, targets={"ratio": 2.6, "net_carbs": 8.0}), FOODS, "cream", "dairy", "fat")
    assert {t.food.name for t in found.trials} == {f.name for f in FOODS.with_role("dairy")} - {
        "cream, heavy (36 % fat)"}
    values = [t.side.objective.value for t in found.trials if isinstance(t.side, Proposal)]
    assert values == sorted(values) and len(values) >= 2
    outcomes = [t.outcome for t in found.trials]
    assert outcomes == sorted(outcomes, key=TRIAL_OUTCOMES.index)
    assert len(set(outcomes)) >= 2
    for trial in found.trials:
        if trial.outcome != "cannot be tried":
            changed, _ = swapped(dish(GRATIN, targets={"ratio": 2.6, "net_carbs": 8.0}), FOODS,
                                 [("cream", trial.food.name)], "fat")
            alone = solve(changed)
            assert alone.outcome == trial.outcome
            if isinstance(alone, Proposal) and isinstance(trial.side, Proposal):
                assert alone.objective.value == trial.side.objective.value
        else:
            assert per_100g(TABLE[trial.food.name], "fat") == Fraction(0)


@pytest.mark.parametrize(("pairs", "by", "expected"), [
    ([("buter, salted", "lard")], "weight", "did you mean butter"),
    ([("butter, salted", "larb")], "weight", "is not in the composition table"),
    ([("celeriac, raw", "lard")], "net-carbs", "lard has no net carbs"),
    ([("olive oil", "gruyere")], "protein", "olive oil has no protein"),
    ([("cream", "lard"), ("cream", "olive oil")], "weight", "swapped once"),
    ([("cream", "lard")], "colour", "expected one of weight"),
])
def test_faults(pairs: list[tuple[str, str]], by: str, expected: str) -> None:
    with pytest.raises(BadInput, match=expected):
        swap(dish(GRATIN), FOODS, pairs, by)


def test_unknown_role() -> None:
    with pytest.raises(BadInput, match="did you mean dairy"):
        try_all(dish(GRATIN), FOODS, "cream", "dary")


def test_command(tmp_path: Path) -> None:
    file = tmp_path / "gratin.toml"
    file.write_text(GRATIN, encoding="utf-8")
    run = CliRunner()
    text = run.invoke(main, ["swap", str(file), "butter, salted", "coconut oil", "gruyere", "parmesan, hard"])
    assert text.exit_code == 0 and max(map(len, text.stdout.splitlines())) <= 80
    assert "butter, salted ->" in text.stdout and "before" in text.stdout
    ranked = run.invoke(main, ["swap", str(file), "butter, salted", "--try-all", "seed", "--by", "fat", "--most", "3"])
    assert ranked.exit_code == 0 and max(map(len, ranked.stdout.splitlines())) <= 80
    data = json.loads(run.invoke(main, ["swap", str(file), "cream", "lard", "--format", "json"]).stdout)
    assert data["swaps"][0]["new"] == "lard" and data["before"]["outcome"] == "solved"
    tried = json.loads(run.invoke(main, ["swap", str(file), "cream", "--try-all", "binder", "--format", "json"]).stdout)
    rows = list(csv.DictReader(io.StringIO(
        run.invoke(main, ["swap", str(file), "cream", "--try-all", "binder", "--format", "csv"]).stdout)))
    assert [t["food"] for t in tried["trials"]] == [row["food"] for row in rows]
    sides = list(csv.DictReader(io.StringIO(
        run.invoke(main, ["swap", str(file), "cream", "lard", "--format", "csv"]).stdout)))
    assert list(sides[0]) == ["what", "unit", "before", "after", "caution"]
    hard = run.invoke(main, ["swap", str(file), "celeriac, raw", "garlic, raw"])
    assert hard.exit_code == 3 and "cannot be kept together" in hard.stdout
    for wrong in (["cream"], ["cream", "lard", "--try-all", "fat"], ["cream", "lard", "gruyere"]):
        assert run.invoke(main, ["swap", str(file), *wrong]).exit_code == 2


ROAST = """
title = "Roast of the mill guesthouse"
servings = 4
[[ingredients]]
food = "lamb leg, raw"
prepared = "roasted"
grams = 600
[[ingredients]]
food = "egg, whole, raw"
measure = "2 large"
"""


def test_the_new_food_has_its_own_yield_for_the_same_way() -> None:
    """Yields of lamb leg 0.705 and pork loin 0.729, roasted, as data/yields.csv has them (USDA SR28, by protein)."""
    changed, (one,) = swapped(dish(ROAST), FOODS, [("lamb leg", "pork loin, raw")])
    assert (one.new.yield_, one.new.prepared) == (0.729, "roasted")
    assert "10020" in one.new.yield_note and "17230" not in one.new.yield_note  # NDB numbers of pork and of lamb
    assert changed == dish(ROAST.replace("lamb leg, raw", "pork loin, raw"))
    _, (by_protein,) = swapped(dish(ROAST), FOODS, [("lamb leg", "pork loin, raw")], "protein")
    assert float(by_protein.factor) == pytest.approx(
        float(per_100g(TABLE["lamb leg, raw"], "protein") / per_100g(TABLE["pork loin, raw"], "protein"))
        * 0.729 / 0.705)


def test_a_yield_of_the_old_food_is_named_as_that() -> None:
    found = swap(dish(ROAST), FOODS, [("lamb leg", "pork shoulder, raw"), ("egg", "cauliflower, raw")])
    assert found.swaps[0].new.yield_ == 0.738
    kept = swap(dish(ROAST), FOODS, [("lamb leg", "cauliflower, raw")])
    new = kept.swaps[0].new
    assert (new.yield_, new.prepared, new.yield_note) == (0.705, None, "")
    assert [note for note in kept.notes if "0.705 is that of lamb leg, raw, roasted" in note]
    assert not any("lamb" in warning for warning in kept.after.warnings)  # type: ignore[union-attr]


def test_a_measure_is_that_of_the_old_food() -> None:
    changed, _ = swapped(dish(ROAST), FOODS, [("egg", "cauliflower, raw")])
    assert changed.ingredients[1].measure == ""
