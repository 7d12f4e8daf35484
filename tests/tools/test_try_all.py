"""Every food of a role in an ingredient's place: the best few are those of solving all, told as what they are."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import Proposal, Recipe, solve, try_all
from ratio_solver.cli import main
from ratio_solver.dish.constraints import limits_of
from ratio_solver.lp.search import rounded_point
from ratio_solver.output.terminal import plain_text
from ratio_solver.solving.formulation import NO_PREFERENCE, formulate
from ratio_solver.solving.question import Asked, Nowhere
from ratio_solver.solving.scale_steps import whole_model
from ratio_solver.solving.solve import best_weights
from ratio_solver.tools.swap import try_all as trying
from ratio_solver.tools.swap.compute import swapped
from ratio_solver.tools.swap.trials_report import text as trials_text
from tests.kitchen import drawn
from tests.solving.dishes import FOODS, GRATIN, dish

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

STRICT = {"ratio": 2.6, "net_carbs": 8.0}


def in_full(recipe: Recipe, old: str, role: str, prefer: str) -> tuple[list[tuple[str, Fraction]], set[str]]:
    """Name and objective of every food that does, each solved by itself, the best first; and those that do not.

    Of none more is used than the table says that a serving may hold.
    """
    found: list[tuple[str, Fraction]] = []
    others = set()
    held = next(i.food for i in recipe.ingredients if i.label == old)
    for food in FOODS.with_role(role):
        if food is not held:
            changed = swapped(recipe, FOODS, [(old, food.name)])[0]
            if food.most is not None:
                within, place = food.most * recipe.servings, [i.food for i in changed.ingredients].index(food)
                items = list(changed.ingredients)
                items[place] = replace(items[place], maximum=min(items[place].maximum or 0, within))
                if within < (items[place].minimum or 0):
                    others.add(food.name)
                    continue
                changed = replace(changed, ingredients=tuple(items))
            answer = solve(changed, prefer)
            if isinstance(answer, Proposal):
                found.append((food.name, answer.objective.value))
            else:
                others.add(food.name)
    return sorted(found, key=lambda pair: pair[1]), others


@pytest.mark.parametrize(("recipe", "old", "role", "prefer"), [
    (dish(GRATIN), "celeriac, raw", "mushroom", "closest"),
    (dish(GRATIN), "egg", "egg", "even"),
    (dish(GRATIN, targets=STRICT), "cream", "dairy", "closest"),
    (dish(GRATIN.replace('label = "egg"', 'label = "egg"\npiece = 50')), "gruyere", "seed", "lightest"),
    (dish(GRATIN, choose=[{"from": ["butter, salted", "olive oil"], "at_most": 1}]), "olive oil", "nut", "closest"),
], ids=["mushrooms", "even", "strict", "lightest", "choice"])
def test_the_best_few_are_those_of_solving_all(recipe: Recipe, old: str, role: str, prefer: str) -> None:
    full, others = in_full(recipe, old, role, prefer)
    for most in (1, 3):
        found = try_all(recipe, FOODS, old, role, prefer=prefer, most=most).trials
        told = [(t.food.name, t.side.objective.value) for t in found[:most] if isinstance(t.side, Proposal)]
        assert told == full[:most] and len(told) == min(most, len(full))
        assert {t.food.name for t in found if t.does} == {name for name, _ in full}
        assert {t.food.name for t in found if not t.does} == others


def test_all_are_ranked_where_no_number_is_given() -> None:
    full, _ = in_full(dish(GRATIN, targets=STRICT), "cream", "dairy", "closest")
    found = try_all(dish(GRATIN, targets=STRICT), FOODS, "cream", "dairy")
    assert [(t.food.name, t.side.objective.value) for t in found.trials if isinstance(t.side, Proposal)] == full


def test_what_cannot_be_among_the_best_is_not_solved(monkeypatch: pytest.MonkeyPatch) -> None:
    solved: list[Recipe] = []

    def counted(asked: Asked, exact: bool) -> Proposal | Nowhere:
        found = best_weights(asked, exact)
        if isinstance(found, Proposal):
            solved.append(found.recipe)
        return found

    monkeypatch.setattr(trying, "best_weights", counted)
    found = try_all(dish(GRATIN), FOODS, "gruyere", "cheese", most=2)
    assert len(solved) <= 6 < sum(trial.does for trial in found.trials)
    solved.clear()
    full = try_all(dish(GRATIN), FOODS, "gruyere", "cheese")
    assert len(solved) == sum(trial.does for trial in full.trials)


def test_a_food_with_weights_of_which_the_best_were_not_found_in_the_time_would_do(
        monkeypatch: pytest.MonkeyPatch) -> None:
    """That there are weights is known before the best are looked for: it is not called impossible."""
    solved = {trial.food.name for trial in try_all(dish(GRATIN), FOODS, "egg", "egg").trials
              if trial.outcome == "solved"}
    monkeypatch.setattr(trying, "best_weights", lambda asked, exact: Nowhere(undecided=True))
    found = try_all(dish(GRATIN), FOODS, "egg", "egg")
    assert solved and {trial.food.name for trial in found.trials if trial.outcome == "would do"} == solved
    assert all("in the time" in trial.reason for trial in found.trials if trial.does)
    said = " ".join(plain_text(trials_text(found, 20)).split())
    assert said.count("were not found in the time") == 1 and all(name in said for name in solved)
    assert "(--most)" not in said, "a longer list would not have them"


def test_a_rounded_point_is_on_the_steps_and_keeps_every_limit(tmp_path: Path) -> None:
    """Where rounding finds weights, a second opinion that shares nothing with it finds no fault in them."""
    found = 0
    for seed in range(40):
        written, rows, recipe = drawn(seed, tmp_path, kind=random.Random(seed).choice(("whole", "mixed")))
        limits = [limit for limit in limits_of(recipe) if limit.kind != "ingredient"]
        point = rounded_point(whole_model(formulate(recipe, NO_PREFERENCE, limits=limits)))
        if point is None:
            continue
        found += 1
        adjustable = [i for i in recipe.ingredients if i.adjustable]
        weights = {i.label: Fraction(repr(i.start)) for i in recipe.ingredients}
        weights |= {i.label: grams for i, grams in zip(adjustable, point, strict=False)}
        assert not second_opinion.faults_of(written, rows, weights), seed
        assert all(weights[i.label] % Fraction(repr(i.piece or i.step or 1)) == 0 for i in adjustable), seed
    assert found >= 12


def test_a_food_that_is_left_out_is_told_so() -> None:
    """The oil starts at 0 g and may stay there: with the butter alone the gratin reaches 2:1."""
    found = try_all(dish(GRATIN), FOODS, "olive oil", "nut", most=3)
    out = [trial for trial in found.trials[:3] if trial.left_out(found.place)]
    text = plain_text(trials_text(found, 3))
    used = next(i for i in found.before.recipe.ingredients if i.label == "olive oil")
    assert used.start == 0 and len(out) == 3
    assert text.count("left out") == 3 and "best without any of that food" in " ".join(text.split())
    within = try_all(dish(GRATIN), FOODS, "gruyere", "cheese", most=2)
    assert "eft out" not in plain_text(trials_text(within, 2))


def test_notes_are_those_of_the_foods_listed_and_name_them() -> None:
    """4000 g finished are more than go in, which is another weight with each food: so each is named."""
    light = GRATIN.replace("servings = 6", "servings = 6\nfinished_grams = 4000", 1)
    found = try_all(dish(light), FOODS, "gruyere", "cheese", most=2)
    text = " ".join(plain_text(trials_text(found, 2)).split())
    told = {t.food.name: w for t in found.trials[:2] if t.side for w in t.side.warnings if "weighs more" in w}
    assert len(set(told.values()) | {w for w in found.before.warnings if "weighs more" in w}) == 3
    assert text.count("weighs more than") == 3  # the dish as it is, and the two listed
    assert all(f"Note: with {name}: {warning}" in text for name, warning in told.items())


def test_names_with_commas_are_parted_by_semicolons(tmp_path: Path) -> None:
    file = tmp_path / "gratin.toml"
    file.write_text(GRATIN, encoding="utf-8")
    run = CliRunner().invoke(main, ["swap", str(file), "celeriac, raw", "--try-all", "grain", "--most", "3"])
    said = " ".join(run.stdout.partition("No weights satisfy the limits with:")[2].partition("Reckoned")[0].split())
    names = [name.removeprefix("and ") for name in said.split("; ")]
    assert len(names) == 4 and names[3].endswith(" more")
    assert all(FOODS.get(name) for name in names[:3]) and any("," in name for name in names[:3])
    data = json.loads(CliRunner().invoke(
        main, ["swap", str(file), "celeriac, raw", "--try-all", "mushroom", "--format", "json"]).stdout)
    solved = [trial for trial in data["trials"] if trial["outcome"] == "solved"]
    assert solved and all(trial["left_out"] == (trial["grams"] == 0) for trial in solved)
    assert not any(trial["outcome"] == "would do" for trial in data["trials"])


def test_a_food_that_is_in_the_dish_already_is_named_once(tmp_path: Path) -> None:
    file = tmp_path / "gratin.toml"
    file.write_text(GRATIN, encoding="utf-8")
    run = CliRunner().invoke(main, ["swap", str(file), "butter, salted", "olive oil"])
    assert "With olive oil for butter, salted\n" in run.stdout
