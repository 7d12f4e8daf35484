"""Many drawn recipes without an answer: every word of the diagnosis against solvers that share nothing with ours.

Between the steps GLOP judges, every choice tried; on the steps SCIP, its weights checked in exact arithmetic. What is
drawn: recipes of `tests.oracle.recipes` (plain; with parts, proportions, floors and ceilings of other nutrients,
yields; with choices; with pieces and steps; with targets that divide by something), one in five of each kind. One draw
in eight stays as it is, each of the others has one more thing that is hard to keep, as often as not where it can be
written: `PULLS`. Of all these the first that have no answer by the second opinion are taken; the counts say how many
there were of each. A food of the bundled table that is said to do as one more ingredient is judged as well.
"""

from __future__ import annotations

import csv
import math
import os
import random
from collections import Counter
from collections.abc import Callable, Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from ratio_solver import Diagnosis, FoodTable, Impossible, Recipe, load_foods, recipe_from, solve
from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.exact import exact
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.solving.result import CuringFat, Repair
from tests.kitchen import drawn, table
from tests.solving.rewriting import Written, lesser, loosest, moved, without
from tests.solving.swept import Sweep

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

Rows = list[dict[str, str]]
KINDS = ("plain", "mixed", "choose", "whole", "share")
FEW = 24
MANY = int(os.environ.get("DIAGNOSES", "5000")) // 2
"""Recipes without an answer: in every run, and in a long one (marked slow) between the steps and as many on them."""

PARTS = 4
SECONDS_OF_SCIP, SECONDS_OF_SCIP_IF_FEW = 20.0, 4.0
"""What is not settled by then is no opinion; of the few all that ever are come in a fifth of a second."""


class Judge:
    """Whether a recipe file has weights, by a solver that is not ours; None where it does not say."""

    def __init__(self, rows: Rows, on_steps: bool, seconds: float = SECONDS_OF_SCIP) -> None:
        self.rows, self.on_steps, self.seconds = rows, on_steps, seconds

    def __call__(self, written: Written) -> bool | None:
        if not self.on_steps:
            return bool(second_opinion.solve_closest(written, self.rows).status == "optimal")
        try:
            found = second_opinion.solve_whole(written, self.rows, seconds=self.seconds)
        except second_opinion.NoOpinion:
            return None
        return False if found.status == "infeasible" else True if found.exact else None


def without_answer(first: int, count: int, on_steps: bool, folder: Path,
                   seconds: float) -> Iterator[tuple[Written, Recipe, Judge]]:
    """The first `count` drawn recipes from a seed on that have no answer by the second opinion."""
    found = 0
    for seed in range(first, first + 20 * count):
        kind = KINDS[seed % len(KINDS)]
        written, rows, _ = drawn(seed, folder, kind)
        pulled = _pulled(random.Random(seed), written, on_steps)
        judge = Judge([*rows, *bundled_rows()], on_steps, seconds)
        if judge(written) is False:
            written["title"] = f"{seed}, {kind}, {pulled}"
            yield written, recipe_from(written, table(folder, *rows)), judge
            found += 1
            if found == count:
                return
    raise AssertionError("too few recipes without an answer")


@cache
def bundled_rows() -> Rows:
    with bundled_path().open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@cache
def bundled() -> FoodTable:
    return load_foods()


def _ratio(written: Written) -> float:
    ratio = written["targets"]["ratio"]
    return float(ratio["min"] if isinstance(ratio, dict) else ratio)


def _free(written: Written) -> list[dict[str, Any]]:
    return [entry for entry in written["ingredients"] if "min" in entry]


def _apart(rng: random.Random, written: Written) -> bool:
    """The ratio further up, and net carbs far down."""
    targets = written["targets"]
    targets["net_carbs"] = max(0.05, round(targets["net_carbs"] * rng.uniform(0.1, 0.6), 2))
    targets["ratio"] = round(_ratio(written) * rng.uniform(1, 1.5), 2)
    return True


def _band(rng: random.Random, written: Written) -> bool:
    """A ratio within a narrow band, one in four of them exactly a value, beside steps of 5 to 25 g."""
    least = _ratio(written)
    width = 0 if rng.random() < 1 / 4 else rng.uniform(0.0002, 0.003)
    written["targets"]["ratio"] = {"min": least, "max": round(least * (1 + width), 4)}
    for entry in _free(written):
        if "piece" not in entry:
            entry["step"] = rng.choice((5, 10, 20, 25))
    return True


def _floor(rng: random.Random, written: Written) -> bool:
    """A least protein, fat, fibre or energy above what net carbs leave room for."""
    name, least = rng.choice((("protein", 40), ("fat", 90), ("fibre", 15), ("energy", 900)))
    ends = written["targets"].get(name)
    if (name == "fibre" and rng.random() < 0.5) or (isinstance(ends, dict) and "min" not in ends):
        return False
    low = round(least * rng.uniform(0.5, 2), 1)
    top = ends.get("max") if isinstance(ends, dict) else None
    written["targets"][name] = {"min": low} | ({} if top is None else {"max": max(top, round(low * 1.05, 1))})
    return True


def _pieces(rng: random.Random, written: Written) -> bool:
    """Whole pieces of 60 to 180 g for half of what may move, within a band of the ratio that these jump over."""
    least = _ratio(written)
    written["targets"]["ratio"] = {"min": least, "max": round(least * rng.uniform(1.01, 1.1), 2)}
    for entry in _free(written):
        if rng.random() < 1 / 2 and entry["max"] - entry["min"] >= 10:
            entry.pop("step", None)
            entry["piece"] = rng.choice((60, 75, 120, 180))
    return True


def _part(rng: random.Random, written: Written) -> bool:
    """A part that is to weigh less than its least, or more than its most."""
    parts = written.get("parts", {})
    for name in rng.sample(sorted(parts), len(parts)):
        inside = [entry for entry in written["ingredients"] if entry.get("part") == name]
        low = sum(entry.get("min", entry["grams"]) for entry in inside)
        high = sum(entry.get("max", entry["grams"]) for entry in inside)
        if rng.random() < 1 / 2:
            parts[name] = {"min": math.ceil(high * rng.uniform(0.9, 1.2)) + 1}
        else:
            parts[name] = {"max": max(1, math.floor(low * rng.uniform(0.6, 1.3)))}
        return True
    return False


def _choice(rng: random.Random, written: Written) -> bool:
    """One fewer of a choice, and all that is left of it with a least weight that it must have where it is used."""
    choices = [choice for choice in written.get("choose", []) if choice["at_most"] > 1 or rng.random() < 1 / 2]
    if not choices:
        return False
    choice = rng.choice(choices)
    members = [entry for entry in _free(written) if entry.get("label", entry["food"]) in choice["from"]]
    choice["at_most"] = max(1, choice["at_most"] - 1)
    for entry in rng.sample(members, rng.randint(0, len(members))):
        entry["min"] = max(entry["min"], 1)
    return True


PULLS: dict[str, Callable[[random.Random, Written], bool]] = {
    "ratio and net carbs apart": _apart, "narrow band": _band, "floor": _floor, "pieces": _pieces, "part": _part,
    "choice": _choice,
}
AS_DRAWN = 1 / 8


def _pulled(rng: random.Random, written: Written, on_steps: bool) -> str:
    """Make one thing hard to keep; between the steps no band is too narrow, and pieces are none."""
    name = "as drawn"
    if rng.random() >= AS_DRAWN:
        names = [name for name in PULLS if on_steps or PULLS[name] not in (_band, _pieces)]
        name = next(name for name in rng.sample(names, len(names)) if PULLS[name](rng, written))
    shares = {(str(share["of"]), str(share["to"])): share for share in written.get("proportions", [])}
    if shares:  # of two shares of the same groups the reader keeps the narrower ends
        written["proportions"] = list(shares.values())
    if "choose" in written:  # one of two choices alike is idle, and neither is needed for a conflict
        written["choose"] = [choice for place, choice in enumerate(written["choose"])
                             if set(choice["from"]) not in [set(other["from"]) for other in written["choose"][:place]]]
    return name


def judged(written: Written, recipe: Recipe, judge: Judge, sweep: Sweep) -> None:
    """One recipe without an answer: its diagnosis is true."""
    what, counts = written["title"], sweep.counts
    with sweep.timed(what):
        answer = solve(recipe, exact=not judge.on_steps, foods=bundled())
    assert isinstance(answer, Impossible), what
    diagnosis = answer.diagnosis
    counts["recipes"] += 1
    counts["drawn: " + what.rpartition(", ")[2]] += 1
    counts["left open"] += diagnosis.undecided
    counts["with something left out"] += bool(diagnosis.left_out or diagnosis.left_out_also)
    counts["proven in exact arithmetic"] += diagnosis.proven
    counts["only the steps in the way"] += diagnosis.steps
    counts["conflict not said to be minimal"] += not diagnosis.minimal
    if diagnosis.undecided:
        return
    assert diagnosis.proven or diagnosis.steps, what
    conflict_is_minimal(written, recipe, judge if diagnosis.steps else Judge(judge.rows, False), diagnosis, counts)
    for repair in diagnosis.repairs:
        counts["single changes"] += 1
        cures(written, recipe, judge, (repair,), what, least_known(repair, diagnosis, counts))
    if diagnosis.joint_repair:
        counts["joint changes"] += 1
        joint_is_needed(written, recipe, judge, diagnosis, counts)
    for fat in (diagnosis.fats or ())[:1]:
        counts["foods to add"] += 1
        fat_cures(written, judge, fat)


def fat_cures(written: Written, judge: Judge, fat: CuringFat) -> None:
    """So many grams more of a food do, and a hundredth of a gram (on the steps a gram) less does not.

    Of a kilogram and more it is a hundred-thousandth: what the other solver, in doubles, tells apart.
    """
    def added(most: Fraction) -> Written:
        more = {"food": fat.food.name, "label": "one more", "grams": 0, "min": 0, "max": float(most)}
        return written | {"ingredients": [*written["ingredients"], more]}

    assert judge(added(fat.grams)) is not False, (written["title"], fat.food.name)
    step = Fraction(1) if judge.on_steps else max(Fraction(1, 100), fat.grams / 100_000)
    less = max(Fraction(0), fat.grams - step)
    assert judge(added(less)) is not True, (written["title"], fat.food.name)


def conflict_is_minimal(written: Written, recipe: Recipe, judge: Judge, diagnosis: Diagnosis,
                        counts: Counter[str]) -> None:
    limits = list(limits_of(recipe))
    others = [limit for limit in limits if all(limit != member for member in diagnosis.conflict)]
    assert judge(without(written, recipe, others)) is not True, written["title"]
    assert all(limit.bound < len(limit.members) for limit in diagnosis.conflict if limit.members), written["title"]
    for member in diagnosis.conflict if diagnosis.minimal else ():
        counts["members of conflicts"] += 1
        assert judge(without(written, recipe, [*others, member])) is not False, (written["title"], member.name)


def least_known(repair: Repair, diagnosis: Diagnosis, counts: Counter[str]) -> bool:
    """Whether a change is said to be the least: not of a band with nearer values than could be gone through."""
    near = diagnosis.nearest
    known = near is None or near.proven or repair.limit not in (near.least, near.most)
    counts["changes of a band that may not be the least, as is said"] += not known
    return known


def cures(written: Written, recipe: Recipe, judge: Judge, changes: tuple[Repair, ...], what: str,
          least: bool = True) -> None:
    """The changes together solve; with 1 % less of all (one less of a choice that is alone) they do not."""
    made = [(repair.limit, repair.to) for repair in changes]
    assert judge(moved(written, recipe, made)) is not False, (what, [limit.name for limit, _ in made])
    alone = len(changes) == 1
    less = [(one.limit, one.to if one.limit.members and not alone else lesser(one)) for one in changes]
    if least and less != made:
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
    """Whether it is enough to loosen these limits, each as far as a recipe file allows.

    On the steps the maximum of what stands in a choice only to a hundred times the batch and a kilogram: more is not
    looked for (`SearchDomain.formulated`), and no advice to a cook.
    """
    chosen = {place for limit in free for place in limit.members} if judge.on_steps else set()
    heaviest = 1000 + 100 * sum(exact(max(item.start, item.maximum or 0)) for item in recipe.ingredients)
    changes: list[tuple[Limit, Fraction]] = [
        (limit, min(loosest(limit), heaviest) if limit.sense == "<=" and limit.kind == "ingredient"
         and limit.subject.place in chosen else loosest(limit)) for limit in free]
    return judge(moved(written, recipe, changes)) is True


def swept(first: int, count: int, on_steps: bool, folder: Path, seconds: float = SECONDS_OF_SCIP) -> Counter[str]:
    sweep = Sweep()
    for written, recipe, judge in without_answer(first, count, on_steps, folder, seconds):
        with sweep.one(written["title"]):
            judged(written, recipe, judge, sweep)
    return sweep.ended()


@pytest.mark.parametrize("on_steps", [False, True], ids=["between the steps", "on the steps"])
def test_a_diagnosis_is_true(on_steps: bool, tmp_path: Path) -> None:
    counts = swept(900_000, FEW, on_steps, tmp_path, SECONDS_OF_SCIP_IF_FEW)
    assert counts["recipes"] >= FEW - 1 and counts["single changes"] and counts["joint changes"]


@pytest.mark.slow
@pytest.mark.parametrize("part", range(PARTS))
@pytest.mark.parametrize("on_steps", [False, True], ids=["between the steps", "on the steps"])
def test_many_diagnoses_are_true(on_steps: bool, part: int, tmp_path: Path) -> None:
    counts = swept((5_000_000 if on_steps else 1_000_000) + 1_000_000 * part, MANY // PARTS, on_steps, tmp_path)
    assert counts["recipes"] == MANY // PARTS
    assert counts["left open"] <= MANY // PARTS // 50
    assert counts["changes of a band that may not be the least, as is said"] <= MANY // PARTS // 50
