"""The diagnosis against other solvers: GLOP on recipes rewritten by this test, and plain sums."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from ratio_solver import Diagnosis, FoodTable, Impossible, Proposal, Recipe, recipe_from, solve
from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.result import Repair
from tests.kitchen import dish, drawn, food, table
from tests.solving.rewriting import Written, lesser, loosest, moved, without

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

KINDS = ("mixed", "plain", "choose", "mixed", "whole")
FIRST_SEEDS = (2000, 3000, 4000, 5000)
EACH = 50


def possible(written: Written, rows: list[dict[str, str]]) -> bool:
    return second_opinion.solve_closest(written, rows).status == "optimal"


def solvable(recipe: Recipe) -> bool:
    """Whether our own solve finds weights; as `solve` says it, without the time for a diagnosis."""
    return SearchDomain(recipe).feasible(limits_of(recipe))


def infeasible_ones(first: int, folder: Path) -> Iterator[tuple[Written, list[dict[str, str]], Recipe, FoodTable]]:
    """The first `EACH` recipes from a seed on that have no answer by the second opinion."""
    found = 0
    for seed in range(first, first + 1000):
        written, rows, recipe = drawn(seed, folder, KINDS[seed % len(KINDS)])
        if not possible(written, rows):
            yield written, rows, recipe, table(folder, *rows)
            found += 1
            if found == EACH:
                return
    raise AssertionError("too few recipes without an answer")


def diagnosed(recipe: Recipe, **more: Any) -> Diagnosis:
    answer = solve(recipe, **more)
    assert isinstance(answer, Impossible)
    return answer.diagnosis


# --- 200 seeded recipes, 50 of them unless all are asked for -----------------------------------------


@pytest.mark.parametrize("first", [
    FIRST_SEEDS[0], *(pytest.param(first, marks=pytest.mark.slow) for first in FIRST_SEEDS[1:])])
def test_two_hundred_recipes_without_an_answer(first: int, tmp_path: Path) -> None:
    for written, rows, recipe, foods in infeasible_ones(first, tmp_path):
        what = written["title"]
        diagnosis = diagnosed(recipe, exact=True)
        assert diagnosis.proven, what  # choices too: in rationals, not by the solver's word
        limits = list(limits_of(recipe))
        check_conflict(written, rows, recipe, limits, diagnosis, what)
        for repair in diagnosis.repairs:
            check_repair(written, rows, recipe, foods, repair, what)
        for limit in diagnosis.stuck:
            assert not possible(moved(written, recipe, [(limit, loosest(limit))]), rows), (what, limit.name)
        sizes = [repair.relative for repair in diagnosis.repairs]
        assert sizes == sorted(sizes), what
        check_best_ratio(written, rows, recipe, foods, diagnosis, what)
        if not diagnosis.repairs:
            check_joint_repair(written, rows, recipe, foods, diagnosis, what)


def check_conflict(written: Written, rows: list[dict[str, str]], recipe: Recipe, limits: list[Limit],
                   diagnosis: Diagnosis, what: str) -> None:
    """Alone impossible; possible without any one of it."""
    others = [limit for limit in limits if all(limit != member for member in diagnosis.conflict)]
    assert not possible(without(written, recipe, others), rows), what
    for member in diagnosis.conflict:
        assert possible(without(written, recipe, [*others, member]), rows), (what, member.name)


def check_repair(written: Written, rows: list[dict[str, str]], recipe: Recipe, foods: FoodTable, repair: Repair,
                 what: str) -> None:
    """It solves; with 1 % less of the change (one less of a choice) it does not."""
    limit = repair.limit
    enough = moved(written, recipe, [(limit, repair.to)])
    assert isinstance(solve(recipe_from(enough, foods), exact=True), Proposal), (what, limit.name)
    assert possible(enough, rows), (what, limit.name)
    short = moved(written, recipe, [(limit, lesser(repair))])
    assert not solvable(recipe_from(short, foods)), (what, limit.name)
    assert not possible(short, rows), (what, limit.name)


def check_best_ratio(written: Written, rows: list[dict[str, str]], recipe: Recipe, foods: FoodTable,
                     diagnosis: Diagnosis, what: str) -> None:
    """Against Dinkelbach's iterations with GLOP; that ratio solves and 0.001 more does not."""
    opinion = second_opinion.best_ratio(written, rows)
    if diagnosis.best_ratio is None:
        assert opinion is None, what
        return
    assert float(diagnosis.best_ratio) == pytest.approx(opinion, abs=2e-6), what
    limit = next(x for x in limits_of(recipe) if x.name == "ratio" and x.sense == ">=")
    asked = moved(written, recipe, [(limit, diagnosis.best_ratio)])
    assert isinstance(solve(recipe_from(asked, foods), exact=True), Proposal), what
    more = moved(written, recipe, [(limit, diagnosis.best_ratio + Fraction(1, 1000))])
    assert not solvable(recipe_from(more, foods)), what


def check_joint_repair(written: Written, rows: list[dict[str, str]], recipe: Recipe, foods: FoodTable,
                       diagnosis: Diagnosis, what: str) -> None:
    """All together solve; all of them 5 % smaller do not (of choices alone nothing is 5 % smaller)."""
    changes = [(repair.limit, repair.to) for repair in diagnosis.joint_repair]
    assert changes, what
    enough = moved(written, recipe, changes)
    assert isinstance(solve(recipe_from(enough, foods), exact=True), Proposal), what
    assert possible(enough, rows), what
    less = [(limit, to if limit.kind == "choose" else to - (to - limit.bound) / 20) for limit, to in changes]
    assert less == changes or not possible(moved(written, recipe, less), rows), what
    for left in diagnosis.joint_repair:  # none is idle
        others = [(repair.limit, repair.to) for repair in diagnosis.joint_repair if repair is not left]
        assert not possible(moved(written, recipe, others), rows), (what, left.limit.name)


def test_cures_hold_on_the_steps_of_the_scale(tmp_path: Path) -> None:
    """Against SCIP: the repaired file has weights on the steps, and with 1 % less of the change none."""
    checked = 0
    for written, rows, recipe, foods in infeasible_ones(7000, tmp_path):
        if checked >= 40:
            break
        diagnosis = diagnosed(recipe)
        changes = [[repair] for repair in diagnosis.repairs] or [list(diagnosis.joint_repair)]
        for change in changes:
            enough = moved(written, recipe, [(repair.limit, repair.to) for repair in change])
            answer = solve(recipe_from(enough, foods))
            assert isinstance(answer, Proposal) and not answer.exact, written["title"]
            grams = {weight.ingredient: weight.grams for weight in answer.weights}
            assert not second_opinion.faults_of(enough, rows, grams), written["title"]
        for repair in diagnosis.repairs:
            short = moved(written, recipe, [(repair.limit, lesser(repair))])
            opinion = second_opinion.solve_whole(short, rows)
            assert opinion.status == "infeasible" or not opinion.exact, (written["title"], repair.limit.name)
            checked += 1
    assert checked >= 40


def tightened(seed: int, kind: str, folder: Path, **targets: float) -> tuple[Written, list[dict[str, str]], Recipe]:
    """A seeded random recipe whose ratio and net carbs are asked for at other figures."""
    written, rows, _ = drawn(seed, folder, kind)
    written["targets"] |= targets
    return written, rows, recipe_from(written, table(folder, *rows))


@pytest.mark.parametrize("seed, kind, spared", [(60106, "choose", "ratio"), (60143, "whole", "protein"),
                                                (60245, "mixed", "ratio")])
def test_a_joint_change_on_the_steps_spares_what_it_can(seed: int, kind: str, spared: str, tmp_path: Path) -> None:
    """Against SCIP: the changes cure, none is idle; the smaller ones are round figures.

    The ratio stays, but where a least protein would be cut in its place.
    """
    written, rows, recipe = tightened(seed, kind, tmp_path, ratio=3, net_carbs=0.1)
    repairs = diagnosed(recipe).joint_repair
    assert len(repairs) > 1 and not {spared, "protein"}.intersection(repair.limit.name for repair in repairs)
    changes = [(repair.limit, repair.to) for repair in repairs]
    assert second_opinion.solve_whole(moved(written, recipe, changes), rows).status == "optimal"
    for left in changes:
        others = moved(written, recipe, [change for change in changes if change is not left])
        opinion = second_opinion.solve_whole(others, rows)
        assert opinion.status == "infeasible" or not opinion.exact, left[0].name
    for repair in repairs[:-1]:
        assert float(f"{float(repair.to):.3g}") == float(repair.to), repair


def test_a_joint_change_is_reckoned_again_on_the_steps(tmp_path: Path) -> None:
    """Four limits came to 31.6 at the prices of the weights between the steps; three of them come to less."""
    written, rows, _ = drawn(50093, tmp_path, "mixed")
    written["targets"]["net_carbs"] = 0.05
    del written["targets"]["protein"]
    recipe = recipe_from(written, table(tmp_path, *rows))
    repairs = diagnosed(recipe).joint_repair
    assert len(repairs) == 3 and sum(repair.relative for repair in repairs) < 31
    changes = [(repair.limit, repair.to) for repair in repairs]
    assert second_opinion.solve_whole(moved(written, recipe, changes), rows).status == "optimal"


# --- plain sums ---------------------------------------------------------------------------------------


def rice_and_butter(folder: Path, **targets: Any) -> tuple[Written, FoodTable]:
    foods = table(folder, food("rice", 0.3, 2.7, 28, 0.4), food("butter", 81, 0.9, 0.1),
                  food("oil", 100, role="fat", allergens=""), food("ghee", 99.5, 0.3, 0, role="fat"),
                  food("sausage fat", 60, 10, 0, role="fat"), food("sugar", 0, 0, 100, role="sugar"))
    written = dish([{"food": "rice", "grams": 200}, {"food": "butter", "grams": 0, "min": 0, "max": 50}],
                   targets=targets)
    return written, foods


def test_a_fat_in_closed_form(tmp_path: Path) -> None:
    """Oil: 2 (P + N) - F over its fat, with the butter at its most, by hand."""
    written, foods = rice_and_butter(tmp_path, ratio=2)
    diagnosis = diagnosed(recipe_from(written, foods), foods=foods, exact=True)
    rest = 2 * (2.7 + 28 - 0.4) + 0.5 * (0.9 + 0.1)
    fat = 2 * 0.3 + 0.5 * 81
    assert diagnosis.fats is not None
    assert [addition.food.name for addition in diagnosis.fats] == ["oil", "ghee", "sausage fat"]
    assert [float(addition.grams) for addition in diagnosis.fats] == pytest.approx(
        [2 * rest - fat, (2 * rest - fat) / (0.995 - 2 * 0.003), (2 * rest - fat) / (0.6 - 2 * 0.1)], abs=0.01)
    assert float(diagnosis.best_ratio or 0) == pytest.approx(fat / rest, abs=1e-6)
    butter = next(repair for repair in diagnosis.repairs if repair.limit.name == "butter max")
    assert float(butter.to) == pytest.approx((2 * 2 * 30.3 - 0.6) / (0.81 - 2 * 0.01), rel=0.01)


def test_the_fat_named_solves_when_it_is_put_into_the_file(tmp_path: Path) -> None:
    written, foods = rice_and_butter(tmp_path, ratio=2, net_carbs=60, energy={"min": 100})
    for exactly in (True, False):
        diagnosis = diagnosed(recipe_from(written, foods), foods=foods, exact=exactly)
        assert diagnosis.fats
        for addition in diagnosis.fats:
            more = {"food": addition.food.name, "grams": 0, "min": 0, "max": float(addition.grams)}
            grown = {**written, "ingredients": [*written["ingredients"], more]}
            assert isinstance(solve(recipe_from(grown, foods), exact=exactly), Proposal), addition
            more["max"] = float(addition.grams) - (0.02 if exactly else 1)
            assert isinstance(solve(recipe_from(grown, foods), exact=exactly), Impossible), addition


def test_a_new_fat_weighs_in_the_batch_but_in_no_other_group(tmp_path: Path) -> None:
    """Butter at least 42 % of the batch: with 150 g of butter and 200 g of rice at most 7.14 g of oil fit in."""
    written, foods = rice_and_butter(tmp_path, ratio=2)
    written["ingredients"][1]["max"] = 150
    written["proportions"] = [{"of": ["butter"], "to": "batch", "min": 0.42}]
    diagnosis = diagnosed(recipe_from(written, foods), foods=foods, exact=True)
    # the ratio asks for 0.6 + 121.5 + oil >= 2 (60.6 + 1.5)
    assert diagnosis.fats is not None
    names = {addition.food.name: float(addition.grams) for addition in diagnosis.fats}
    assert names["oil"] == pytest.approx(2 * (60.6 + 1.5) - 0.6 - 121.5, abs=0.011)
    assert all(grams <= 7.15 for grams in names.values())


def test_without_a_table_no_fat_is_looked_for(tmp_path: Path) -> None:
    written, foods = rice_and_butter(tmp_path, ratio=2)
    assert diagnosed(recipe_from(written, foods)).fats is None
    written["targets"]["net_carbs"] = 1  # no fat takes carbs away
    assert diagnosed(recipe_from(written, foods), foods=foods).fats == ()


def test_guaranteed_is_diagnosed_at_the_ends_of_the_intervals(tmp_path: Path) -> None:
    foods = table(tmp_path, food("veg", 0, 2, 8, 0, protein_g_high=3, carbs_g_high=9),
                  food("oil", 90, fat_g_low=80, carbs_g_low=0, carbs_g_high=0, role="fat"))
    recipe = recipe_from(dish([{"food": "veg", "grams": 100}, {"food": "oil", "grams": 0, "min": 0, "max": 10}],
                              targets={"ratio": 1}), foods)
    diagnosis = diagnosed(recipe, guaranteed=True, foods=foods, exact=True)
    assert float(diagnosis.best_ratio or 0) == pytest.approx(8 / 12, abs=1e-6)  # 10 g of 80 % over 3 + 9
    assert diagnosis.fats is not None and float(diagnosis.fats[0].grams) == 5  # (12 - 8) / 0.8
    assert diagnosed(recipe, exact=True).best_ratio == Fraction(9, 10)


def test_a_dish_with_nothing_to_adjust_is_told_its_ratio(tmp_path: Path) -> None:
    foods = table(tmp_path, food("cream", 36, 2, 3))
    diagnosis = diagnosed(recipe_from(dish([{"food": "cream", "grams": 100}], targets={"ratio": 7.3}), foods))
    [repair] = diagnosis.repairs
    assert (diagnosis.best_ratio, repair.to, diagnosis.proven) == (Fraction(36, 5), Fraction(36, 5), True)


def test_a_choice_is_widened_by_whole_numbers(tmp_path: Path) -> None:
    """Three fats of at most 30 g each, 80 g of fat wanted: two of them are not enough."""
    foods = table(tmp_path, food("A", 100), food("B", 100), food("C", 100), food("veg", 0, 1, 5))
    entries = [{"food": "veg", "grams": 100}, *({"food": x, "grams": 0, "min": 0, "max": 30} for x in "ABC")]
    diagnosis = diagnosed(recipe_from(dish(entries, targets={"fat": {"min": 80}},
                                           choose=[{"from": ["A", "B", "C"], "at_most": 1}]), foods))
    changes = {repair.limit.name: repair.to for repair in diagnosis.repairs}
    assert changes == {"choose A, B, C": 3, "fat": 30, "A max": 80, "B max": 80, "C max": 80}
    assert diagnosis.proven
