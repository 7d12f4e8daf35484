"""Dishes at the edge of what there is to solve: nothing to move, nothing below the line, too much to choose from."""

from __future__ import annotations

import random
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import Diagnosis, Impossible, Proposal, Recipe, adjust, curve, load_foods, recipe_from, solve
from ratio_solver.cli import main
from ratio_solver.dish.constraints import Limit
from ratio_solver.errors import NotProven
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.tools.solve.impossible import ALL_FIXED, CONFLICT_OPEN
from tests.kitchen import dish, food, table
from tests.oracle.recipes import to_toml

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


def diagnosed(recipe: Recipe, **how: Any) -> Diagnosis:
    answer = solve(recipe, **how)
    assert isinstance(answer, Impossible)
    return answer.diagnosis


def test_a_choice_that_allows_everything_is_in_no_conflict(tmp_path: Path) -> None:
    """9 kg of fat from two fats of 30 g at most: their maxima are in the way, whatever may be chosen."""
    foods = table(tmp_path, food("A", 100), food("B", 100))
    written = dish([{"food": name, "grams": 0, "min": 0, "max": 30} for name in "AB"], targets={"fat": {"min": 9000}},
                   choose=[{"from": ["A", "B"], "at_most": 2}])
    found = diagnosed(recipe_from(written, foods))
    assert [limit.name for limit in found.conflict] == ["fat", "A max", "B max"]
    assert {repair.limit.name for repair in found.repairs} >= {"A max", "B max"}


def test_a_maximum_under_a_choice_can_be_raised_as_far_as_it_takes(tmp_path: Path) -> None:
    """One of two fats, 30 g each, 3 kg of fat wanted: 3,000 g of either, far more than a hundred times the batch."""
    foods = table(tmp_path, food("A", 100), food("B", 100))
    written = dish([{"food": name, "grams": 0, "min": 0, "max": 3} for name in "AB"], targets={"fat": {"min": 3000}},
                   choose=[{"from": ["A", "B"], "at_most": 1}])
    for exact in (True, False):
        found = diagnosed(recipe_from(written, foods), exact=exact)
        changes = {repair.limit.name: repair.to for repair in found.repairs}
        assert changes.items() >= {"A max": 3000, "B max": 3000}.items(), exact


def test_a_fat_is_told_in_as_many_decimals_as_a_narrow_band_takes(tmp_path: Path) -> None:
    """10.001 to 10.002 g of fat: 10.01 g of oil would be too much."""
    foods = table(tmp_path, food("root", 0, 1, 9), food("oil", 100, role="fat"))
    written = dish([{"food": "root", "grams": 10}], targets={"fat": {"min": 10.001, "max": 10.002}})
    found = diagnosed(recipe_from(written, foods), exact=True, foods=foods)
    assert found.fats is not None and [addition.grams for addition in found.fats] == [Fraction(10001, 1000)]
    grown = {**written, "ingredients": [*written["ingredients"], {"food": "oil", "grams": 10.001}]}
    assert isinstance(solve(recipe_from(grown, foods), exact=True), Proposal)


def test_a_search_left_open_is_not_called_minimal(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Whole eggs of 50 g, 110 to 140 g: where the search without the minimum ends at its limit, that is said."""
    foods = table(tmp_path, food("egg", 10, 12, 1))
    written = dish([{"food": "egg", "grams": 120, "min": 110, "max": 140, "piece": 50}])
    recipe = recipe_from(written, foods)
    assert diagnosed(recipe).minimal
    conflict_in = SearchDomain.conflict_in

    def limited(domain: SearchDomain, limits: Sequence[Limit]) -> frozenset[int] | None:
        if domain.on_steps and [limit.name for limit in limits] == ["egg max"]:
            raise NotProven("at its limit")
        return conflict_in(domain, limits)

    monkeypatch.setattr(SearchDomain, "conflict_in", limited)
    answer = solve(recipe)
    assert isinstance(answer, Impossible) and not answer.diagnosis.minimal
    assert answer.to_dict()["diagnosis"]["minimal"] is False
    assert CONFLICT_OPEN in " ".join(answer.report().split())


def test_what_rests_on_a_search_is_said_to() -> None:
    """The moussaka's least is found by search, the gratin's is proven; the words say which."""
    for name, words in (("celeriac-gratin", "proven the least"), ("moussaka", "the least by search")):
        text = CliRunner().invoke(main, ["solve", f"examples/{name}.toml"]).stdout
        assert f"g moved, {words}" in text, name


@pytest.mark.parametrize("grams, shown", [(0.001, "0.001"), (0.004, "0.004"), (0.009, "0.009"), (0.5, "0.50")])
def test_a_weight_of_some_milligrams_is_no_nought(grams: float, shown: str, tmp_path: Path) -> None:
    path = tmp_path / "dish.toml"
    path.write_text(to_toml(dish([{"food": "butter, salted", "grams": 20}, {"food": "salt", "grams": grams}],
                                 targets={"ratio": 1})), encoding="utf-8")
    for command in ("check", "solve"):
        lines = CliRunner().invoke(main, [command, str(path)]).stdout.splitlines()
        assert shown in next(line for line in lines if line.split()[:1] == ["salt"]).split(), command


@pytest.mark.parametrize("ends", [{}, {"min": 0, "max": 100}])
def test_where_nothing_may_move_that_is_said(ends: dict[str, float], tmp_path: Path) -> None:
    """100 g of a root of 1:10 cannot be 2:1; only where no ingredient has bounds does that lie at hand."""
    recipe = recipe_from(dish([{"food": "root", "grams": 100, **ends}], targets={"ratio": 2}),
                         table(tmp_path, food("root", 1, 1, 9)))
    answer = solve(recipe)
    assert isinstance(answer, Impossible) and (ALL_FIXED in " ".join(answer.report().split())) != bool(ends)
