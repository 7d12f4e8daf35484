"""The diagnosis against other solvers: GLOP on recipes rewritten by this test, and plain sums."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from ratio_solver import Diagnosis, FoodTable, Impossible, Proposal, Recipe, recipe_from, solve
from ratio_solver.proposals.answer import Repair
from ratio_solver.proposals.diagnose import feasible
from ratio_solver.recipes.limits import Limit, limits_of
from tests.kitchen import drawn, table

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

Written = dict[str, Any]
KEYS = {"net carbs": "net_carbs", "total carbs": "carbs"}
KINDS = ("mixed", "plain", "choose", "mixed", "whole")
FIRST_SEEDS = (2000, 3000, 4000, 5000)
EACH = 50


# --- a limit of the recipe as a place in the file -----------------------------------------------------


def place_of(written: Written, recipe: Recipe, limit: Limit) -> tuple[dict[str, Any], str]:
    """The table of the file that holds a limit, and its key there. Bare numbers are made tables first."""
    end = "min" if limit.sense == ">=" else "max"
    if limit.kind == "target":
        key = KEYS.get(limit.name, limit.name)
        if not isinstance(written["targets"][key], dict):
            return written["targets"], key
        return written["targets"][key], end
    if limit.kind == "part":
        return written["parts"][limit.name.removesuffix(" weight")], end
    if limit.kind == "ingredient":
        label = limit.name.removesuffix(f" {end}")
        return next(e for e in written["ingredients"] if e.get("label", e["food"]) == label
                    or ("label" not in e and e["food"] == label)
                    or ("label" not in e and _named(recipe, label) == e["food"])), end
    same = [other for other in limits_of(recipe) if other.kind == limit.kind]
    if limit.kind == "choose":
        return written["choose"][next(k for k, other in enumerate(same) if other == limit)], "at_most"
    ends = [(k, end) for k, entry in enumerate(written["proportions"]) for end in ("min", "max") if end in entry]
    k, end = ends[next(k for k, other in enumerate(same) if other == limit)]
    return written["proportions"][k], end


def _named(recipe: Recipe, label: str) -> str:
    return next(i.food.id for i in recipe.ingredients if i.label == label)


def moved(written: Written, recipe: Recipe, changes: list[tuple[Limit, Fraction]]) -> Written:
    """The file with some limits written anew."""
    found = copy.deepcopy(written)
    for limit, to in changes:
        entry, key = place_of(found, recipe, limit)
        entry[key] = int(to) if limit.kind == "choose" else float(to)
    return found


def without(written: Written, recipe: Recipe, limits: list[Limit]) -> Written:
    """The file without some limits: a least of 0, a most of a tonne, no target, no proportion."""
    found = copy.deepcopy(written)
    places = [(limit, *place_of(found, recipe, limit)) for limit in limits]
    for limit, entry, key in places:
        if limit.kind == "ingredient":
            entry[key] = 0 if key == "min" else 1_000_000
        elif limit.kind == "choose":
            entry[key] = len(entry["from"])
        else:
            del entry[key]
    found["targets"] = {key: value for key, value in found["targets"].items() if value != {}}
    if "proportions" in found:
        found["proportions"] = [entry for entry in found["proportions"] if "min" in entry or "max" in entry]
    return found


def loosest(limit: Limit) -> Fraction:
    """The loosest bound that a recipe file takes (of a ratio, one that any fat at all keeps)."""
    if limit.sense == ">=":
        return Fraction(1, 10**4) if limit.unit == ":1" else Fraction(0)
    return {":1": Fraction(1000), "share": Fraction(1000), "used": Fraction(len(limit.members))}.get(
        limit.unit, Fraction(10**6))


def possible(written: Written, rows: list[dict[str, str]]) -> bool:
    return second_opinion.solve_closest(written, rows).status == "optimal"


def solvable(recipe: Recipe) -> bool:
    """Whether our own solve finds weights; as `solve` says it, without the time for a diagnosis."""
    return feasible(recipe, list(limits_of(recipe)))


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


# --- 200 seeded recipes -------------------------------------------------------------------------------


@pytest.mark.parametrize("first", FIRST_SEEDS)
def test_two_hundred_recipes_without_an_answer(first: int, tmp_path: Path) -> None:
    for written, rows, recipe, foods in infeasible_ones(first, tmp_path):
        what = written["title"]
        diagnosis = diagnosed(recipe, exact=True)
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
    less = repair.to - 1 if limit.kind == "choose" else repair.to - (repair.to - limit.bound) / 100
    short = moved(written, recipe, [(limit, less)])
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
    """All together solve; all of them 5 % smaller do not."""
    changes = [(repair.limit, repair.to) for repair in diagnosis.joint_repair]
    assert changes, what
    enough = moved(written, recipe, changes)
    assert isinstance(solve(recipe_from(enough, foods), exact=True), Proposal), what
    assert possible(enough, rows), what
