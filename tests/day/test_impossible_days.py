"""Why a day is impossible, judged by a solver that is not HiGHS: every conflict, every change that is shown."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from ratio_solver import load_foods, read_days, solve_day
from ratio_solver.day.limits import DayLimit
from ratio_solver.day.words import change_in_words, conflict_in_words, limit_in_words
from ratio_solver.dish.constraints import Limit
from ratio_solver.foods.nutrients import stem_of
from tests.day.days import Drawn, all_seeds, drawn_day
from tests.day.second_opinion import Key, Kitchen

SOME, ALL = range(24), all_seeds()
FEW, MANY = (2, 2, 3), (6, 5, 8)


def key_of(limit: Limit, drawn: Drawn, titles: dict[str, str]) -> Key:
    """What the other formulation calls a limit."""
    assert isinstance(limit, DayLimit)
    meals = [meal["name"] for meal in drawn.day["meals"]]
    meal = meals.index(limit.meal) if limit.meal else None
    if limit.kind == "target":
        return "target", limit.people[0], meal, stem_of(limit.nutrient), limit.sense
    if limit.kind == "pot":
        return "pot", titles[limit.dish], limit.sense
    if limit.kind == "stock":
        return "stock", limit.dish, limit.sense
    if not limit.people:
        return "batches", titles[limit.dish], limit.sense
    return "portion", limit.people[0], meal, titles.get(limit.dish, limit.dish), limit.sense


def judged(seed: int, folder: Path, most: tuple[int, int, int], exact: bool) -> tuple[int, int]:
    """How many conflicts and changes of a day were judged."""
    drawn = drawn_day(seed, most=most, hard=True)
    titles = {recipe["title"]: name for name, recipe in drawn.recipes.items()}
    if len(titles) < len(drawn.recipes):
        return 0, 0
    file, table = drawn.written_to(folder)
    [day] = read_days(file, load_foods(table, bundled=False))
    answer = solve_day(day, exact=exact, time_limit=120)
    conflicts = changes = 0
    for block, found in answer.answers:
        if found not in answer.diagnoses or found.steps:
            continue
        theirs = Kitchen(drawn.day, drawn.recipes, drawn.rows, whole=False)
        names = {key_of(limit, drawn, titles) for limit in found.conflict}
        assert names <= theirs.held.keys(), (seed, names - theirs.held.keys())
        assert theirs.solved(names).status == "infeasible", (seed, names)
        for name in names:
            assert theirs.solved(names - {name}).status == "optimal", (seed, name)
        conflicts += 1
        assert conflict_in_words(found).endswith(".") and all(map(limit_in_words, found.conflict))
        own = {key_of(limit, drawn, titles) for limit in block.limits} & theirs.held.keys()
        whole = Kitchen(drawn.day, drawn.recipes, drawn.rows, whole=not exact and len(block.limits) < 100)
        for change in found.repairs:
            key = key_of(change.limit, drawn, titles)
            assert change_in_words(change)
            assert whole.solved(own, {key: change.to}).status == "optimal", (seed, change_in_words(change))
            less = change.limit.bound + (change.to - change.limit.bound) * Fraction(99, 100)
            assert whole.solved(own, {key: less}).status == "infeasible", (seed, change_in_words(change))
            changes += 1
        joint = {key_of(change.limit, drawn, titles): change.to for change in found.joint_repair}
        if joint:
            assert whole.solved(own, joint).status == "optimal", (seed, joint)
            changes += len(joint)
            floor = "protein", ">="  # of the day it is cut last, and something else has always been enough here
            assert not any(key[0] == "target" and key[2] is None and key[3:] == floor for key in joint), (seed, joint)
    return conflicts, changes


def test_conflicts_are_minimal_and_changes_are_the_smallest(tmp_path: Path) -> None:
    counts = [judged(seed, tmp_path, FEW, exact=True) for seed in SOME]
    conflicts, changes = (sum(column) for column in zip(*counts, strict=True))
    print(f"{conflicts} conflicts and {changes} changes judged")
    assert conflicts >= 5 and changes >= 5


@pytest.mark.slow
@pytest.mark.parametrize("exact", [True, False], ids=["between the steps", "on the steps"])
def test_of_two_hundred_days(tmp_path: Path, exact: bool) -> None:
    counts = [judged(seed, tmp_path, MANY, exact) for seed in ALL]
    conflicts, changes = (sum(column) for column in zip(*counts, strict=True))
    print(f"{conflicts} conflicts and {changes} changes judged")
    assert min(conflicts, changes) >= 30 * len(ALL) // 200
