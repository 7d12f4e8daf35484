"""Bands that leave less room than a step: whole weights in them, or what is nearest on both sides; and no more time.

What is drawn: recipes of `tests.oracle.recipes`, a quarter each plain, mixed (parts, proportions, other targets, keep
weights, yields), with a choice and in pieces and steps; the ratio of one dish in two is held to exactly a value, of
the others to a band of 0.0001 to 0.01, a third of these bands of the protein. The second opinion is SCIP's, in some
seconds, or none; it shares nothing with the project.
"""

from __future__ import annotations

import csv
import os
import random
import tomllib
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ratio_solver import Impossible, Proposal, Recipe, check, load_foods, read_recipe, recipe_from, recipe_text, solve
from ratio_solver.dish.constraints import LESS, MORE, Subject, limits_of
from ratio_solver.errors import NotProven
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.foods.nutrients import stem_of
from ratio_solver.lp import highs, search
from ratio_solver.recipe.model import Target
from ratio_solver.solving.infeasible import nearest
from ratio_solver.solving.infeasible.conflict import diagnose
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.result import Nearest, Reached
from ratio_solver.solving.scale_steps import base_of, step_of
from ratio_solver.tools.solve.impossible import NEARER_OPEN
from tests.kitchen import dish, drawn, food, table
from tests.solving.swept import Sweep

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

EXAMPLES = sorted(Path("examples").glob("*.toml"))
FEW, MANY = 6, int(os.environ.get("NARROW_BANDS", "500"))
SECONDS = 5.0

Rows = list[dict[str, str]]


def banded(seed: int, folder: Path) -> tuple[dict[str, Any], Rows, Recipe]:
    """A drawn recipe with a band that is narrow."""
    kind = ("plain", "mixed", "choose", "whole")[seed % 4]
    written, rows, _ = drawn(seed, folder, kind)
    rng = random.Random(seed)
    ratio = written["targets"]["ratio"]
    least = round((ratio["min"] if isinstance(ratio, dict) else ratio) * rng.choice((0.8, 0.9, 1)), 2)
    width = 0 if rng.random() < 0.5 else rng.choice((0.0001, 0.001, 0.01))
    if width and rng.random() < 1 / 3:
        written["targets"]["ratio"] = least
        written["targets"]["protein"] = {"min": 10, "max": 10 + 10 * width}
    else:
        written["targets"]["ratio"] = {"min": least, "max": round(least + width, 4)}
    return written, rows, recipe_from(written, table(folder, *rows))


def on_steps(recipe: Recipe, weights: tuple[Fraction, ...]) -> bool:
    return all(((grams - base_of(item)) / step_of(item)).denominator == 1
               for item, grams in zip(recipe.ingredients, weights, strict=True) if item.adjustable)


def is_true(recipe: Recipe, nearest: Nearest) -> None:
    """Both sides miss the band by what is said, on the steps and with every other limit kept; the band is met."""
    assert nearest.below or nearest.above
    others = [limit for limit in limits_of(recipe) if limit not in (nearest.least, nearest.most)]
    for reached, limit, way in ((nearest.below, nearest.least, -1), (nearest.above, nearest.most, 1)):
        if reached is not None:
            assert on_steps(recipe, reached.weights)
            assert limit.actual(reached.weights) == reached.value and way * (reached.value - limit.bound) > 0
            assert all(other.margin(reached.weights) >= 0 for other in others)
    if nearest.band is not None:
        low, high = nearest.band
        assert low <= nearest.least.bound and nearest.most.bound <= high
        assert any(low <= reached.value <= high for reached in (nearest.below, nearest.above) if reached)


def judged(written: dict[str, Any], rows: Rows, recipe: Recipe, sweep: Sweep, what: str) -> None:
    """One recipe: its answer is true, and SCIP knows no better."""
    counts = sweep.counts
    with sweep.timed(what):
        answer = solve(recipe)
    if isinstance(answer, Proposal):
        counts["solved"] += 1
        counts["solved, proven"] += answer.objective.proven
        assert on_steps(recipe, answer.grams_of_each) and check_kept(recipe, answer), what
        assert answer.objective.bound <= answer.objective.value, what
    else:
        counts[answer.outcome] += 1
        if answer.diagnosis.undecided:
            counts[f"undecided: {what}"] += 1
        near = answer.diagnosis.nearest
        if near is not None:
            counts["with what is nearest"] += 1
            counts["with what is nearest, proven"] += near.proven
            is_true(recipe, near)
    try:
        other = second_opinion.solve_whole(written, rows, seconds=SECONDS)
    except second_opinion.NoOpinion:
        counts["left open by SCIP"] += 1
        return
    if other.status == "optimal" and other.exact:
        assert not isinstance(answer, Impossible) or answer.diagnosis.undecided, what
        if isinstance(answer, Proposal):
            least = other.objective
            assert float(answer.objective.bound) <= least + 1e-6, what
            assert not answer.objective.proven or float(answer.objective.value) <= least + 1e-6, what
    elif other.status == "infeasible":
        counts["without an answer by SCIP"] += 1
        assert not isinstance(answer, Proposal) or check_kept(recipe, answer), what  # ours keeps all in rationals


def check_kept(recipe: Recipe, answer: Proposal) -> bool:
    return all(limit.margin(answer.grams_of_each) >= 0 for limit in limits_of(recipe))


def swept(seeds: range, folder: Path) -> Counter[str]:
    sweep = Sweep()
    for seed in seeds:
        with sweep.one(f"band {seed}"):
            judged(*banded(seed, folder), sweep, f"band {seed}")
    return sweep.ended()


def test_narrow_bands_are_answered(tmp_path: Path) -> None:
    counts = swept(range(FEW), tmp_path)
    assert counts["solved"] and counts["solved"] + counts["impossible"] == FEW


@pytest.mark.slow
@pytest.mark.parametrize("part", range(4))
def test_many_narrow_bands_are_answered(part: int, tmp_path: Path) -> None:
    size = MANY // 4
    counts = swept(range(1000 * part, 1000 * part + size), tmp_path)
    assert counts["undecided"] <= max(1, size // 50)


@pytest.mark.slow
def test_examples_held_to_exact_ratios_are_answered() -> None:
    """Each example at 1:1, 1.25:1, ... 2.5:1 exactly."""
    foods, sweep = load_foods("examples/own-foods.csv"), Sweep()
    rows = [row for path in (bundled_path(), Path("examples/own-foods.csv"))
            for row in csv.DictReader(path.open(encoding="utf-8"))]
    for path in EXAMPLES:
        for quarters in range(4, 11):
            what = f"{path.stem} at {quarters / 4}:1"
            recipe = read_recipe(path, foods).with_targets(Target("ratio", quarters / 4, quarters / 4))
            with sweep.one(what):
                judged(plainly(recipe), rows, recipe, sweep, what)
    sweep.ended()


def plainly(recipe: Recipe) -> dict[str, Any]:
    """A recipe as a file that has yields in place of what is prepared, which the second opinion reads."""
    written = tomllib.loads(recipe_text(recipe))
    written["targets"] = {stem_of(nutrient): ends for nutrient, ends in written["targets"].items()}
    for entry, item in zip(written["ingredients"], recipe.ingredients, strict=True):
        entry.pop("prepared", None)
        entry["yield"] = item.yield_
    return written


def gratin(ratio: float) -> Recipe:
    recipe = read_recipe("examples/celeriac-gratin.toml", load_foods())
    return recipe.with_targets(Target("ratio", ratio, ratio))


def test_exactly_two_to_one_is_proven_out_of_reach_and_what_is_nearest_is_told() -> None:
    """What is fixed leaves 3.86875 g to make up, and the figures of what may move are multiples of 0.0001 g."""
    recipe = gratin(2)
    answer = solve(recipe)
    assert isinstance(answer, Impossible)
    diagnosis = answer.diagnosis
    assert diagnosis.steps and diagnosis.proven and diagnosis.minimal
    assert [(limit.name, limit.sense) for limit in diagnosis.conflict] == [("ratio", MORE), ("ratio", LESS)]
    near = diagnosis.nearest
    assert near is not None
    is_true(recipe, near)
    assert near.band == (Fraction(2), Fraction(201, 100))
    text = " ".join(answer.report().split())
    assert "No weights on the steps give a ratio of exactly 2:1." in text
    assert "A band of 2.00 to 2.01:1 is met by that above." in text and "Proven in exact arithmetic." in text
    for proven in (True, False):
        known = replace(answer, diagnosis=replace(diagnosis, nearest=replace(near, proven=proven)))
        assert (NEARER_OPEN in " ".join(known.report().split())) is not proven
        other = replace(diagnosis.repairs[0], limit=replace(near.least, subject=Subject("net_carbs_g")))
        of_another = replace(known, diagnosis=replace(known.diagnosis, repairs=(other,)))
        assert NEARER_OPEN not in " ".join(of_another.report().split()), "no change of the band is named"
    data: Any = answer.to_dict()["diagnosis"]
    assert data["nearest"]["band"] == {"min": 2.0, "max": 2.01} and data["undecided"] is False
    assert data["nearest"]["below"]["value"] < 2 < data["nearest"]["above"]["value"]


def test_what_is_nearest_of_some_weights_is_not_called_the_best_of_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where only some of the weights are looked through, a ratio nearer to the band may be reached by others."""
    recipe = gratin(2)
    known = solve(recipe)
    monkeypatch.setattr(nearest, "SUMS", (40,))
    monkeypatch.setattr(nearest, "MOST_SUMS", 40)
    some = solve(recipe)
    assert isinstance(known, Impossible) and isinstance(some, Impossible)
    near, farther, best = known.diagnosis.nearest, some.diagnosis.nearest, known.diagnosis.best_ratio
    assert near is not None and near.below is not None and best is not None
    assert farther is not None and not farther.proven and farther.below is not None
    assert 2 - Fraction(1, 10**6) <= best <= near.below.value < 2  # to the decimals that are told it is known
    assert farther.below.value < best
    assert some.diagnosis.best_ratio is None and "best ratio" not in some.report()
    assert some.diagnosis.repairs


@pytest.mark.parametrize("complete", [True, False])
def test_what_a_search_cut_short_finds_is_not_known_to_be_the_nearest(complete: bool, tmp_path: Path,
                                                                      monkeypatch: pytest.MonkeyPatch) -> None:
    foods = table(tmp_path, food("root", 0, 2, 8), food("oil", 100), food("cheese", 30, 22))
    recipe = recipe_from(dish(
        [{"food": "root", "grams": 300}, {"food": "oil", "grams": 50, "min": 0, "max": 120, "step": 5},
         {"food": "cheese", "grams": 40, "min": 0, "max": 100, "step": 10}],
        targets={"ratio": {"min": 1.37, "max": 1.37}}), foods)

    def ended(*given: Any) -> Any:
        point = search.minimum(*given)
        return point and replace(point, complete=point.complete and complete)

    for name, value in (("SUMS", (4,)), ("MOST_SUMS", 4), ("FAR", 0), ("minimum", ended)):
        monkeypatch.setattr(nearest, name, value)
    answer = solve(recipe)
    assert isinstance(answer, Impossible)
    near = answer.diagnosis.nearest
    assert near is not None and near.below is not None and near.proven is complete


def test_what_is_nearest_to_a_band_is_not_looked_for_where_it_is_not_in_the_way(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pieces of 60 g make no part of 90 g, whatever the ratio is."""
    def looked_for(*_: Any) -> None:
        raise AssertionError

    monkeypatch.setattr(nearest, "_Beside", looked_for)
    foods = table(tmp_path, food("oil", 100), food("egg", 10, 12, 1), food("yolk", 27, 16, 4), food("cheese", 30, 22))
    free = [{"food": "oil", "grams": 50, "min": 0, "max": 200}, {"food": "cheese", "grams": 40, "min": 0, "max": 200},
            *({"food": name, "grams": 60, "min": 0, "max": 240, "piece": 60, "part": "eggs"}
              for name in ("egg", "yolk"))]
    answer = solve(recipe_from(dish(free, targets={"ratio": {"min": 1.5, "max": 1.5001}},
                                    parts={"eggs": {"min": 85, "max": 95}}), foods))
    assert isinstance(answer, Impossible) and answer.diagnosis.steps and answer.diagnosis.nearest is None
    assert {limit.name for limit in answer.diagnosis.conflict} == {"eggs weight"}


def test_a_least_of_nothing_is_never_in_the_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """No weight is negative: such a limit is not named even where every search for a conflict is cut short."""
    def cut_short(*_: Any) -> None:
        raise NotProven(highs.OUT_OF_TIME)

    recipe = gratin(2)
    nothing = [item.label for item in recipe.ingredients if item.minimum == 0]
    monkeypatch.setattr(SearchDomain, "conflict_in", cut_short)
    diagnosis = diagnose(SearchDomain(recipe, on_steps=True), limits_of(recipe))
    assert not diagnosis.minimal and nothing
    named = {limit.name for limit in diagnosis.conflict}
    assert "ratio" in named and not named & {f"{label} min" for label in nothing}


def test_time_that_is_left_proves_what_halves_find() -> None:
    """Salmon soup at exactly 1:1: the best of some sums of halves is known to be within 20 g of the least, SCIP says
    which it is."""
    path = Path("examples/salmon-soup.toml")
    recipe = read_recipe(path, load_foods()).with_targets(Target("ratio", 1, 1))
    answer = solve(recipe)
    with bundled_path().open(encoding="utf-8") as file:
        other = second_opinion.solve_whole(plainly(recipe), list(csv.DictReader(file)), seconds=60)
    assert other.exact and isinstance(answer, Proposal)
    assert answer.objective.proven and float(answer.objective.value) == other.objective == 877


@pytest.mark.parametrize("listed", [True, False], ids=["listed", "searched"])
def test_the_nearest_of_few_weights_is_that_of_trying_them_all(listed: bool, tmp_path: Path,
                                                               monkeypatch: pytest.MonkeyPatch) -> None:
    """Two weights of a few dozen steps each: the nearest values on both sides, over every pair.

    Also where only some can be listed, and the solver searches all.
    """
    if not listed:
        monkeypatch.setattr(nearest, "SUMS", (4,))
        monkeypatch.setattr(nearest, "MOST_SUMS", 4)
        monkeypatch.setattr(nearest, "FAR", 0)
    foods, told = table(tmp_path, food("root", 0, 2, 8), food("oil", 100), food("cheese", 30, 22)), 0
    for seed in range(40):
        rng = random.Random(seed)
        oil = {"food": "oil", "grams": 50, "min": rng.randint(0, 20), "max": rng.randint(40, 160),
               "step": rng.choice((1, 2, 5))}
        cheese = {"food": "cheese", "grams": 40, "min": rng.randint(0, 20), "max": rng.randint(40, 120),
                  "step": rng.choice((1, 3, 10))}
        ratio = rng.randint(90, 250) / 100
        written = dish([{"food": "root", "grams": rng.randint(100, 500)}, oil, cheese],
                       targets={"ratio": {"min": ratio, "max": ratio}})
        recipe = recipe_from(written, foods)
        answer = solve(recipe)
        least = next(limit for limit in limits_of(recipe) if limit.nutrient == "ratio")
        root = Fraction(str(written["ingredients"][0]["grams"]))
        values = sorted({value for a in steps(oil) for b in steps(cheese)
                         if (value := least.actual((root, a, b))) is not None})
        if not isinstance(answer, Impossible):
            assert Fraction(str(ratio)) in values, seed
            continue
        assert Fraction(str(ratio)) not in values, seed
        near = answer.diagnosis.nearest
        if near is not None:
            told += 1
            below, above = ([v for v in values if v < least.bound], [v for v in values if v > least.bound])
            assert near.proven, seed
            for reached, true in ((near.below, max(below, default=None)), (near.above, min(above, default=None))):
                assert (reached.value if isinstance(reached, Reached) else None) == true, seed
    assert told > 10, told


def test_the_nearest_of_a_million_weights_is_that_of_trying_them_all(tmp_path: Path) -> None:
    """Of three weights of a hundred steps each; the first that are looked at, around the best, have one less near."""
    foods = table(tmp_path, food("root", 0, 2.11, 8.07), food("oil", 97.13), food("cheese", 31.37, 23.11),
                  food("cream", 37.91, 3.17, 2.03))
    told = 0
    for root in (211, 223, 307, 331):
        free = [{"food": name, "grams": 50, "min": 1, "max": 100} for name in ("oil", "cheese", "cream")]
        written = dish([{"food": "root", "grams": root}, *free], targets={"ratio": {"min": 1.83, "max": 1.83}})
        answer = solve(recipe_from(written, foods))
        oil, cheese, cream = np.meshgrid(*[np.arange(1, 101)] * 3, indexing="ij")
        fat, rest = 9713 * oil + 3137 * cheese + 3791 * cream, 1018 * root + 2311 * cheese + 520 * cream
        over = 100 * fat - 183 * rest
        assert isinstance(answer, Impossible) and not (over == 0).any(), root
        near = answer.diagnosis.nearest
        assert near is not None and near.below and near.above and near.proven, root
        for reached, side in ((near.below, over < 0), (near.above, over > 0)):
            place = int(np.argmin(np.where(side, np.abs(fat / rest - 1.83), np.inf)))
            assert reached.value == Fraction(int(fat.flat[place]), int(rest.flat[place])), root
            told += 1
    assert told == 8, told


def steps(entry: dict[str, Any]) -> list[Fraction]:
    return [Fraction(g) for g in range(entry["max"] + 1) if g >= entry["min"] and g % entry["step"] == 0]


def test_a_band_of_the_protein_is_told_in_grams(tmp_path: Path) -> None:
    """Cheese by 10 g has 2.2 g protein in each: of exactly 7 g there is 6.6 or 8.8, and 7 to 8.8 is met."""
    foods = table(tmp_path, food("oil", 100), food("cheese", 30, 22))
    written = dish([{"food": "oil", "grams": 50, "min": 0, "max": 100},
                    {"food": "cheese", "grams": 40, "min": 0, "max": 100, "step": 10}],
                   targets={"protein": {"min": 7, "max": 7}})
    answer = solve(recipe_from(written, foods))
    assert isinstance(answer, Impossible)
    near = answer.diagnosis.nearest
    assert near is not None and near.below and near.above and near.proven
    assert (near.below.value, near.above.value) == (Fraction(66, 10), Fraction(88, 10))
    assert near.band == (Fraction(66, 10), 7)
    assert "A band of 6.6 to 7 g is met by that below." in answer.report()


def test_written_weights_beside_a_band_check_out() -> None:
    """The weights told as nearest, checked as a recipe of their own, come to the value that is told."""
    recipe = gratin(2)
    answer = solve(recipe)
    assert isinstance(answer, Impossible) and answer.diagnosis.nearest and answer.diagnosis.nearest.above
    above = answer.diagnosis.nearest.above
    from ratio_solver.recipe.change import fixed

    assert check(fixed(recipe, above.weights)).facts.ratio == above.value
