"""Answers on the steps: another solver's optimum, every limit in rationals, ties by trying every weight."""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import Impossible, Proposal, Recipe, check, recipe_from, solve
from ratio_solver.cli import main
from ratio_solver.recipe.change import scaled
from ratio_solver.solving.scale_steps import RESOLUTION
from tests.kitchen import dish, drawn, food, table
from tests.oracle.recipes import to_toml, write_table

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

BATCHES = [range(start, start + 50) for start in range(0, 300, 50)]
PRIMES = (2, 3, 5, 7, 11, 13)


def grid_of(entry: dict[str, Any]) -> Fraction:
    return Fraction(str(entry.get("piece", entry.get("step", 1))))


def kind_of(seed: int) -> str:
    return ("whole", "whole", "whole", "choose", "mixed")[seed % 5]


def on_the_grid(written: dict[str, Any], answer: Proposal) -> bool:
    """Fixed ingredients as written, the others multiples of their step or piece."""
    pairs = zip(written["ingredients"], answer.weights, strict=True)
    return all(
        (weight.grams / grid_of(entry)).denominator == 1 if "min" in entry
        else weight.grams == Fraction(str(entry["grams"]))
        for entry, weight in pairs
    )


@pytest.mark.parametrize("seeds", BATCHES, ids=lambda seeds: f"{seeds.start}-{seeds.stop - 1}")
def test_the_optimum_of_another_solver_on_weights_that_keep_every_limit_exactly(seeds: range, tmp_path: Path) -> None:
    """Random recipes with steps and pieces against SCIP, formulated by code that shares nothing with ours."""
    for seed in seeds:
        written, rows, recipe = drawn(seed, tmp_path, kind=kind_of(seed))
        answer, opinion = solve(recipe), second_opinion.solve_whole(written, rows)
        assert isinstance(answer, Proposal) == (opinion.status == "optimal"), seed
        if not isinstance(answer, Proposal):
            continue
        assert opinion.exact, seed
        assert float(answer.objective.value) == pytest.approx(opinion.objective, rel=1e-9, abs=1e-9), seed
        assert on_the_grid(written, answer), seed
        grams = {weight.ingredient: weight.grams for weight in answer.weights}
        assert second_opinion.faults_of(written, rows, grams) == [], seed
        assert all(state.slack is None or state.slack >= 0 for state in answer.limits), seed
        assert answer.objective.proven and answer.objective.settled, seed
        assert answer.objective.bound <= answer.objective.value, seed
        moved = sum((Fraction(str(entry.get("keep", 1))) * abs(weight.change)
                     for entry, weight in zip(written["ingredients"], answer.weights, strict=True)), Fraction(0))
        assert answer.objective.value == moved, seed


@pytest.mark.parametrize("prefer", ["even", "cheapest", "lightest", "lowest-carb"])
def test_other_preferences_against_another_solver(prefer: str, tmp_path: Path) -> None:
    """To the resolution at which the preference is compared; one that is proven is never above the optimum by more."""
    solved = 0
    for seed in range(400, 430):
        written, rows, recipe = drawn(seed, tmp_path, kind="whole")
        if prefer == "lightest" and "energy" in written["targets"]:
            continue  # to hit a least energy on the milligram takes the other solver minutes
        answer, opinion = solve(recipe, prefer), second_opinion.solve_whole(written, rows, prefer=prefer)
        assert isinstance(answer, Proposal) == (opinion.status == "optimal"), seed
        if isinstance(answer, Proposal):
            above = float(answer.objective.value) - opinion.objective
            rounding = 1e-7 * max(1.0, abs(opinion.objective))
            assert -rounding <= above <= float(RESOLUTION.get(prefer, 0)) + rounding, seed
            assert answer.objective.proven and answer.objective.resolution == RESOLUTION.get(prefer, 0), seed
            assert float(answer.objective.bound) <= opinion.objective + rounding, seed
            grams = {weight.ingredient: weight.grams for weight in answer.weights}
            assert second_opinion.faults_of(written, rows, grams) == [] and on_the_grid(written, answer), seed
            solved += 1
    assert solved > 8


def test_the_lightest_dish_with_a_least_energy_comes_within_its_resolution(tmp_path: Path) -> None:
    """The least energy is the limit itself: a tenth of a kcal above it is not searched further."""
    for seed in (52, 59, 61):
        written, rows, recipe = drawn(seed, tmp_path, kind="whole")
        recipe = recipe_from(written | {"targets": {"energy": {"min": 300}}}, table(tmp_path, *rows))
        answer = solve(recipe, "lightest")
        assert isinstance(answer, Proposal) and answer.objective.proven
        assert 300 <= answer.objective.value < Fraction(3001, 10)


def ties_of(written: dict[str, Any], rows: Any) -> tuple[tuple[Fraction, ...], Fraction] | None:
    """The canonical weights of a small dish: every weight on the steps is tried, in the order the design names."""
    cook = second_opinion.Dish(written, rows)
    free = [i for i, entry in enumerate(written["ingredients"]) if "min" in entry]
    spans = []
    for i in free:
        entry, grid = written["ingredients"][i], grid_of(written["ingredients"][i])
        low, high = Fraction(str(entry["min"])), Fraction(str(entry["max"]))
        spans.append([k * grid for k in range(math.ceil(low / grid), math.floor(high / grid) + 1)])
    best = None
    for combination in itertools.product(*spans):
        weights = [item.start for item in cook.ingredients]
        for i, weight in zip(free, combination, strict=True):
            weights[i] = weight
        if not all(limit.holds(weights) for limit in cook.limits) or not second_opinion._chosen(cook, weights):
            continue
        moves = [abs(weights[i] - cook.ingredients[i].start) for i in free]
        roots = [math.sqrt(prime) for prime in PRIMES]
        key = (
            cook.moved(weights),
            round(sum(float(move) * root for move, root in zip(moves, roots, strict=False)), 9),
            round(sum(float(w) * root for w, root in zip(combination, roots, strict=False)), 9),
        )
        if best is None or key < best[0]:
            best = key, tuple(weights)
    return None if best is None else (best[1], best[0][0])


@pytest.mark.parametrize("choose", [False, True])
def test_ties_are_broken_as_the_design_says(choose: bool, tmp_path: Path) -> None:
    """Several oils that do the same, starts off the steps, and choices: one answer, found by trying all."""
    rows = [food("oil A", 100), food("oil B", 100), food("butter", 81, 0.9, 0.1), food("egg", 10, 12.4, 0.7),
            food("root", 0.3, 1.5, 9.2, 1.8)]
    foods = table(tmp_path, *rows)
    for place, (ratio, starts) in enumerate(itertools.product(
            (1.2, 2.0), ((5, 5, 5, 75), (2.5, 7, 3.5, 50), (0, 4, 4, 100), (6, 2.5, 6, 25)))):
        entries = [
            {"food": "oil B", "grams": starts[0], "min": 0, "max": 22},
            {"food": "oil A", "grams": starts[1], "min": 0, "max": 22},
            {"food": "butter", "grams": starts[2], "min": 0, "max": 40, "step": 5},
            {"food": "egg", "grams": starts[3], "min": 0, "max": 170, "piece": 50},
            {"food": "root", "grams": 300},
        ]
        written = dish(entries, servings=2, targets={"ratio": ratio, "protein": {"min": 5}})
        if choose:
            written["choose"] = [{"from": ["oil A", "oil B", "butter"], "at_most": 1}]
            written["targets"] |= {"fat": {"min": 10}}
        expected, answer = ties_of(written, rows), solve(recipe_from(written, foods))
        assert isinstance(answer, Proposal) == (expected is not None), place
        if isinstance(answer, Proposal) and expected is not None:
            assert tuple(weight.grams for weight in answer.weights) == expected[0], place
            assert answer.objective.value == expected[1], place


def doubled(recipe: Recipe) -> Recipe:
    twice = scaled(recipe, 2)
    return replace(twice, ingredients=tuple(
        replace(i, piece=i.piece and 2 * i.piece, step=None if i.piece else 2 * (i.step or 1))
        for i in twice.ingredients
    ))


def test_doubling_a_recipe_with_its_steps_doubles_the_answer(tmp_path: Path) -> None:
    solved = 0
    for seed in range(500, 540):
        _, _, recipe = drawn(seed, tmp_path, kind=kind_of(seed))
        even = replace(recipe, ingredients=tuple(
            replace(i, start=2 * round(i.start / 2), minimum=i.minimum and 2 * round(i.minimum / 2),
                    maximum=i.maximum and max(2 * round(i.maximum / 2), 2 * round((i.minimum or 0) / 2)))
            for i in recipe.ingredients))
        once, twice = solve(even), solve(doubled(even))
        assert once.outcome == twice.outcome, seed
        if isinstance(once, Proposal) and isinstance(twice, Proposal):
            assert [2 * w.grams for w in once.weights] == [w.grams for w in twice.weights], seed
            assert 2 * once.objective.value == twice.objective.value, seed
            assert once.facts.amounts == twice.facts.amounts, seed
            solved += 1
    assert solved > 15


def eggs(tmp_path: Path, **egg: object) -> Recipe:
    foods = table(tmp_path, food("root", 0.3, 1.5, 9.2, 1.8), food("butter", 81, 0.9, 0.1),
                  food("egg", 10, 12.4, 0.7, measures="large=50"))
    return recipe_from(dish(
        [{"food": "root", "grams": 301.5}, {"food": "butter", "grams": 20, "min": 0.5, "max": 90.7},
         {"food": "egg", "grams": 70, "min": 60, "max": 190, **egg}],
        servings=2, targets={"ratio": 1.5}), foods)


def test_whole_eggs_and_bounds_off_the_steps(tmp_path: Path) -> None:
    """From 60 to 190 g of 50 g eggs are 2 or 3; of butter 1 to 90 g."""
    answer = solve(eggs(tmp_path, measure="large"))
    assert isinstance(answer, Proposal)
    weights = {weight.ingredient: weight for weight in answer.weights}
    assert weights["egg"].grams == 100 and weights["egg"].step == 50 and weights["egg"].piece
    assert weights["egg"].at is None
    assert weights["butter"].grams.denominator == 1
    assert weights["root"].grams == Fraction(603, 2) and weights["root"].step is None


def test_prices_are_those_of_the_linear_programme_and_slacks_those_of_the_weights_shown(tmp_path: Path) -> None:
    recipe = eggs(tmp_path, step=10)
    whole, linear = solve(recipe), solve(recipe, exact=True)
    assert isinstance(whole, Proposal) and isinstance(linear, Proposal)
    ratio, was = whole.limits[0], linear.limits[0]
    assert was.binding and was.price and not ratio.binding
    assert (ratio.price, ratio.slack) == (was.price, whole.facts.ratio - Fraction(3, 2))
    assert whole.objective.value > linear.objective.value
    assert not whole.exact and linear.exact


def test_what_is_printed_passes_check(tmp_path: Path) -> None:
    solved = 0
    for seed in range(700, 730):
        _, _, recipe = drawn(seed, tmp_path, kind="whole")
        answer = solve(recipe)
        if isinstance(answer, Proposal):
            shown = replace(recipe, ingredients=tuple(
                replace(i, start=float(w.grams)) for i, w in zip(recipe.ingredients, answer.weights, strict=True)))
            assert check(shown).kept, seed
            solved += 1
    assert solved > 10


def test_steps_alone_may_make_a_dish_impossible(tmp_path: Path) -> None:
    """A ratio that 84 to 96 g of oil keep and no multiple of 50 g; and 41 to 49 g by steps of 50 g."""
    foods = table(tmp_path, food("root", 0, 0, 8), food("oil", 100))
    narrow = dish([{"food": "root", "grams": 500}, {"food": "oil", "grams": 0, "min": 0, "max": 300, "step": 50}],
                  targets={"ratio": {"min": 2.1, "max": 2.4}})
    answer = solve(recipe_from(narrow, foods))
    assert isinstance(answer, Impossible) and answer.diagnosis.steps
    assert sorted({limit.name for limit in answer.diagnosis.conflict}) == ["ratio"]
    assert len(answer.diagnosis.conflict) == 2
    assert isinstance(solve(recipe_from(narrow, foods), exact=True), Proposal)
    between = dish([{"food": "root", "grams": 500}, {"food": "oil", "grams": 45, "min": 41, "max": 49, "step": 50}])
    answer = solve(recipe_from(between, foods))
    assert isinstance(answer, Impossible) and answer.diagnosis.steps
    assert {limit.name for limit in answer.diagnosis.conflict} == {"oil min", "oil max"}
    hopeless = solve(recipe_from(narrow | {"targets": {"ratio": 9}}, foods))
    assert isinstance(hopeless, Impossible) and not hopeless.diagnosis.steps


def test_a_limit_missed_by_less_than_the_solver_sees_is_not_kept(tmp_path: Path) -> None:
    """40 g of oil hold exactly 40 g of fat; a least of 40.000000001 g takes the next step."""
    foods = table(tmp_path, food("oil", 100), food("root", 0, 0, 8))
    entries = [{"food": "oil", "grams": 40, "min": 0, "max": 100}, {"food": "root", "grams": 10}]
    for least, grams in ((40, 40), (40.000000001, 41), (40.00000000001, 41)):
        answer = solve(recipe_from(dish(entries, targets={"fat": {"min": least}}), foods))
        assert isinstance(answer, Proposal)
        assert answer.grams("oil") == grams
    fixed = dish([{"food": "oil", "grams": 40}], targets={"fat": {"min": 40.000000001}})
    assert isinstance(solve(recipe_from(fixed, foods)), Impossible)


def test_from_the_command_line(tmp_path: Path) -> None:
    rows = [food("root", 0, 0, 8, role="vegetable"), food("oil", 100)]
    write_table(tmp_path / "own.csv", rows)
    written = dish([{"food": "root", "grams": 503}, {"food": "oil", "grams": 3, "min": 0, "max": 300, "step": 0.25}],
                   targets={"ratio": {"min": 2.001, "max": 2.01}})
    path = tmp_path / "dish.toml"

    def run(*more: str) -> tuple[int, str]:
        path.write_text(to_toml(written), encoding="utf-8")
        result = CliRunner().invoke(main, ["solve", str(path), "--foods", str(tmp_path / "own.csv"), *more])
        return result.exit_code, result.stdout

    code, text = run("--format", "json")
    data = json.loads(text)
    assert code == 0
    assert data["weights"][1] | {"grams": 80.75, "step": 0.25} == data["weights"][1]
    assert (data["exact"], data["prices"], data["objective"]["proven"]) == (False, "linear programme", True)
    assert data["objective"]["value"] == data["objective"]["bound"] == 77.75
    code, text = run()
    assert code == 0 and "80.75" in text and "between the steps" in text
    exact = json.loads(run("--exact", "--format", "json")[1])
    assert exact["exact"] and exact["weights"][1]["grams"] == pytest.approx(503 * 0.08 * 2.001, abs=1e-6)
    written["ingredients"][1]["step"] = 100
    code, text = run()
    assert code == 3 and "--exact" in text and "finer step" in text
    assert json.loads(run("--format", "json")[1])["diagnosis"]["steps"] is True
