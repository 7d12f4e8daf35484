"""Many drawn recipes without an answer: every word of the diagnosis against solvers that share nothing with ours.

Between the steps GLOP judges, every choice tried; on the steps SCIP, its weights checked in exact arithmetic. What is
drawn: recipes of `tests.oracle.recipes` (plain; with parts, proportions, floors and ceilings of other nutrients,
yields; with choices; with pieces and steps), a third of them with a ratio and net carbs pulled further apart, on the
steps a third with a narrow band of the ratio, which steps of 5 to 25 g may jump over.
"""

from __future__ import annotations

import os
import random
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from ratio_solver import Diagnosis, Impossible, Recipe, recipe_from, solve
from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.errors import NotProven
from ratio_solver.solving.result import Repair
from tests.kitchen import drawn, table
from tests.solving.rewriting import Written, lesser, loosest, moved, without

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

Rows = list[dict[str, str]]
KINDS = ("plain", "mixed", "choose", "whole", "share")
FEW = 24
MANY_ON_STEPS = int(os.environ.get("DIAGNOSES", "3000")) // 3
MANY = 2 * MANY_ON_STEPS
"""Recipes without an answer: in every run, and in a long one (marked slow) between the steps and on them."""


class Judge:
    """Whether a recipe file has weights, by a solver that is not ours; None where it does not say."""

    def __init__(self, rows: Rows, on_steps: bool) -> None:
        self.rows, self.on_steps = rows, on_steps

    def __call__(self, written: Written) -> bool | None:
        if not self.on_steps:
            return bool(second_opinion.solve_closest(written, self.rows).status == "optimal")
        try:
            found = second_opinion.solve_whole(written, self.rows)
        except second_opinion.NoOpinion:
            return None
        return False if found.status == "infeasible" else True if found.exact else None


def without_answer(first: int, count: int, on_steps: bool, folder: Path) -> Iterator[tuple[Written, Recipe, Judge]]:
    """The first `count` drawn recipes from a seed on that have no answer by the second opinion."""
    found = 0
    for seed in range(first, first + 20 * count):
        kind = KINDS[seed % len(KINDS)]
        written, rows, _ = drawn(seed, folder, kind)
        _pulled(random.Random(seed), written, on_steps)
        judge = Judge(rows, on_steps)
        if judge(written) is False:
            yield written, recipe_from(written, table(folder, *rows)), judge
            found += 1
            if found == count:
                return
    raise AssertionError("too few recipes without an answer")


def _pulled(rng: random.Random, written: Written, on_steps: bool) -> None:
    """Some of the draws with other targets: net carbs far down, or a narrow band of the ratio and coarse steps."""
    targets: dict[str, Any] = written["targets"]
    ratio = targets["ratio"]
    least = ratio["min"] if isinstance(ratio, dict) else ratio
    pull = rng.random()
    if pull < 1 / 3:
        targets["net_carbs"] = max(0.05, round(targets["net_carbs"] * rng.uniform(0.1, 0.6), 2))
        targets["ratio"] = round(least * rng.uniform(1, 1.5), 2)
    elif on_steps and pull < 2 / 3:
        targets["ratio"] = {"min": least, "max": round(least * rng.uniform(1.0002, 1.003), 4)}
        for entry in written["ingredients"]:
            if "min" in entry and "piece" not in entry:
                entry["step"] = rng.choice((5, 10, 20, 25))
    shares = {(str(share["of"]), str(share["to"])): share for share in written.get("proportions", [])}
    if shares:  # of two shares of the same groups the reader keeps the narrower ends
        written["proportions"] = list(shares.values())
    if "choose" in written:  # one of two choices alike is idle, and neither is needed for a conflict
        written["choose"] = [choice for place, choice in enumerate(written["choose"])
                             if set(choice["from"]) not in [set(other["from"]) for other in written["choose"][:place]]]


def judged(written: Written, recipe: Recipe, judge: Judge, counts: Counter[str]) -> None:
    """One recipe without an answer: its diagnosis is true."""
    what = written["title"]
    try:
        answer = solve(recipe, exact=not judge.on_steps)
    except NotProven:
        counts["left open"] += 1
        assert judge.on_steps, what
        return
    assert isinstance(answer, Impossible), what
    diagnosis = answer.diagnosis
    counts["recipes"] += 1
    counts["proven in exact arithmetic"] += diagnosis.proven
    counts["only the steps in the way"] += diagnosis.steps
    counts["conflict not said to be minimal"] += not diagnosis.minimal
    assert diagnosis.proven or diagnosis.steps, what
    conflict_is_minimal(written, recipe, judge if diagnosis.steps else Judge(judge.rows, False), diagnosis, counts)
    for repair in diagnosis.repairs:
        counts["single changes"] += 1
        cures(written, recipe, judge, (repair,), what)
    if diagnosis.joint_repair:
        counts["joint changes"] += 1
        joint_is_needed(written, recipe, judge, diagnosis, counts)


def conflict_is_minimal(written: Written, recipe: Recipe, judge: Judge, diagnosis: Diagnosis,
                        counts: Counter[str]) -> None:
    limits = list(limits_of(recipe))
    others = [limit for limit in limits if all(limit != member for member in diagnosis.conflict)]
    assert judge(without(written, recipe, others)) is not True, written["title"]
    assert all(limit.bound < len(limit.members) for limit in diagnosis.conflict if limit.members), written["title"]
    for member in diagnosis.conflict if diagnosis.minimal else ():
        counts["members of conflicts"] += 1
        assert judge(without(written, recipe, [*others, member])) is not False, (written["title"], member.name)


def cures(written: Written, recipe: Recipe, judge: Judge, changes: tuple[Repair, ...], what: str) -> None:
    """The changes together solve; with 1 % less of all (one less of a choice that is alone) they do not."""
    made = [(repair.limit, repair.to) for repair in changes]
    assert judge(moved(written, recipe, made)) is not False, (what, [limit.name for limit, _ in made])
    alone = len(changes) == 1
    less = [(one.limit, one.to if one.limit.members and not alone else lesser(one)) for one in changes]
    if less != made:
        assert judge(moved(written, recipe, less)) is not True, (what, [limit.name for limit, _ in made])


def joint_is_needed(written: Written, recipe: Recipe, judge: Judge, diagnosis: Diagnosis,
                    counts: Counter[str]) -> None:
    """It solves, 1 % less of it does not, none of it is idle, and what can be spared is spared."""
    what, repairs = written["title"], diagnosis.joint_repair
    cures(written, recipe, judge, repairs, what)
    for left in repairs:
        others = [(repair.limit, repair.to) for repair in repairs if repair is not left]
        assert judge(moved(written, recipe, others)) is not True, (what, left.limit.name)
    limits = limits_of(recipe)
    if any(repair.limit.kind == "target" for repair in repairs):
        counts["joint changes that move a target"] += 1
        assert not suffices(written, recipe, judge, [x for x in limits if x.kind != "target"]), what
    if any(repair.limit.prescribed for repair in repairs):
        counts["joint changes that move what is prescribed"] += 1
        assert not suffices(written, recipe, judge, [x for x in limits if not x.prescribed]), what


def suffices(written: Written, recipe: Recipe, judge: Judge, free: list[Limit]) -> bool:
    """Whether it is enough to loosen these limits, each as far as a recipe file allows."""
    changes: list[tuple[Limit, Fraction]] = [(limit, loosest(limit)) for limit in free]
    return judge(moved(written, recipe, changes)) is True


def swept(first: int, count: int, on_steps: bool, folder: Path) -> Counter[str]:
    counts: Counter[str] = Counter()
    for written, recipe, judge in without_answer(first, count, on_steps, folder):
        judged(written, recipe, judge, counts)
    print("\n" + ", ".join(f"{number} {what}" for what, number in sorted(counts.items())))
    return counts


@pytest.mark.parametrize("on_steps", [False, True], ids=["between the steps", "on the steps"])
def test_a_diagnosis_is_true(on_steps: bool, tmp_path: Path) -> None:
    counts = swept(900_000, FEW, on_steps, tmp_path)
    assert counts["recipes"] >= FEW - 1 and counts["single changes"] and counts["joint changes"]


@pytest.mark.slow
@pytest.mark.parametrize("part", range(4))
def test_many_diagnoses_between_the_steps_are_true(part: int, tmp_path: Path) -> None:
    counts = swept(1_000_000 * (part + 1), MANY // 4, False, tmp_path)
    assert counts["recipes"] == MANY // 4


@pytest.mark.slow
@pytest.mark.parametrize("part", range(4))
def test_many_diagnoses_on_the_steps_are_true(part: int, tmp_path: Path) -> None:
    counts = swept(5_000_000 + 1_000_000 * part, MANY_ON_STEPS // 4, True, tmp_path)
    assert counts["recipes"] >= MANY_ON_STEPS // 4 * 0.98
