"""Ranges of weights and prices against re-solving with another solver (GLOP), in code that shares nothing with ours."""

from __future__ import annotations

import copy
import json
import random
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from ratio_solver import Proposal, recipe_from, solve
from ratio_solver.dish.status import LimitState
from ratio_solver.foods.nutrients import stem_of
from ratio_solver.output.dish_text import LIMIT_COLUMNS, WEIGHT_COLUMNS, loosening
from ratio_solver.output.json_csv import as_json
from ratio_solver.solving import sensitivity as ranges
from ratio_solver.tools.solve.report import best_line
from tests.kitchen import dish, drawn, food, table

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

BEYOND = {"g": 0.5, "mg": 20.0, "kcal": 5.0, ":1": 0.02, "share": 0.005}
"""How far beyond the end of a range the price must no longer hold: 0.5 g, or the like."""

Written = dict[str, Any]


class Kitchen:
    """A solved recipe, and what another solver makes of it when one limit is moved."""

    def __init__(self, written: Written, rows: list[dict[str, str]], answer: Proposal) -> None:
        self.written, self.rows, self.answer = self._decided(written, answer), rows, answer
        self.dish = second_opinion.Dish(self.written, rows)
        self.start = self.solved(self.written)

    @staticmethod
    def _decided(written: Written, answer: Proposal) -> Written:
        """The recipe with its choices made as in the answer: prices hold them fixed."""
        grams = {weight.ingredient: weight.grams for weight in answer.weights}
        decided = copy.deepcopy(written)
        members = {label for entry in decided.pop("choose", []) for label in entry["from"]}
        for entry in decided["ingredients"]:
            label = entry.get("label", entry["food"])
            if label in members and not grams[label] and "max" in entry:
                entry["max"] = 0
        return decided

    def solved(self, written: Written) -> Any:
        bounds = [*written["ingredients"], *written.get("parts", {}).values()]
        if any(entry.get("min", 0) > entry.get("max", 1e9) for entry in bounds):
            return second_opinion.INFEASIBLE
        return second_opinion.solve_objective(written, self.rows, self.answer.prefer, tie_break=True)

    def moved(self, state: LimitState, value: float) -> Any:
        """The re-solved recipe with one limit at another value."""
        written = copy.deepcopy(self.written)
        limit = state.limit
        end = "min" if limit.sense == ">=" else "max"
        if limit.kind == "target":
            targets, key = written["targets"], stem_of(limit.nutrient)
            targets[key] = {**targets[key], end: value} if isinstance(targets[key], dict) else value
        elif limit.kind == "part":
            written["parts"][limit.name.removesuffix(" weight")][end] = value
        elif limit.kind == "proportion":
            self._share(state, written)[end] = value
        else:
            self._entry(written, limit.name)[end] = value
        return self.solved(written)

    @staticmethod
    def _entry(written: Written, name: str) -> Written:
        label = name.rpartition(" ")[0]
        return next(entry for entry in written["ingredients"] if entry.get("label", entry["food"]) == label)

    def _share(self, state: LimitState, written: Written) -> Written:
        entries = enumerate(written["proportions"])
        places = [number for number, entry in entries for end in ("min", "max") if end in entry]
        shares = [item.limit for item in self.answer.limits if item.limit.kind == "proportion"]
        found: Written = written["proportions"][places[shares.index(state.limit)]]
        return found

    def divisor(self, state: LimitState, weights: dict[str, float]) -> float:
        """What a ratio or a share divides by, from the other code's own sums; 1 for the others."""
        if state.limit.kind == "proportion":
            to = self.dish._members(self._share(state, self.written)["to"])
            return sum(weights[self.dish.labels[i]] for i in to)
        if state.limit.nutrient in second_opinion.QUOTIENTS:
            below = self.dish.quotient(state.limit.nutrient)[1]
            return sum(float(below[i]) * weights[label] for i, label in enumerate(self.dish.labels))
        if state.limit.unit == ":1":
            protein, net = self.dish.amounts("protein"), self.dish.amounts(self.dish.ratio_carbs)
            return sum(float(protein[i] + net[i]) * weights[label] for i, label in enumerate(self.dish.labels))
        return 1.0

    def expected(self, state: LimitState, price: float, value: float, other: Any) -> float:
        """The objective by the price: it counts per unit of what is bounded, which a ratio's divisor is worth."""
        step = value - float(state.limit.bound)
        bend = self.divisor(state, other.weights) / self.divisor(state, self.start.weights)
        return float(self.start.objective + price * step * bend)


def inside(state: LimitState) -> list[float]:
    """Limits near the start and near both ends of the range."""
    bound = float(state.limit.bound)
    size = max(1.0, abs(bound)) if state.limit.unit != "share" else 0.2
    low = bound - 0.3 * size if state.holds_from is None else state.holds_from
    high = bound + 0.3 * size if state.holds_to is None else state.holds_to
    shares = (0.02, 0.98)
    found = [bound + share * (end - bound) for share in shares for end in (low, high)]
    return [value for value in found if allowed(state, value) and abs(value - bound) > 1e-5 * size]


def allowed(state: LimitState, value: float) -> bool:
    """Whether a recipe may have such a limit."""
    return 0 <= value <= (1 if state.limit.unit == "share" else 1e6)


def checked(seed: int, kitchen: Kitchen, state: LimitState, counts: Counter[str]) -> None:
    assert state.price is not None
    bound, where = float(state.limit.bound), (seed, *state.limit.identity)
    for value in inside(state):
        other = kitchen.moved(state, value)
        assert other.status == "optimal", (where, value)
        expected = kitchen.expected(state, state.price, value, other)
        assert other.objective == pytest.approx(expected, rel=2e-6, abs=2e-5), (where, value, state)
        counts["inside"] += 1
    for end, side in ((state.holds_from, -1), (state.holds_to, 1)):
        value = None if end is None else end + side * BEYOND[state.limit.unit]
        if value is not None and allowed(state, value):
            other = kitchen.moved(state, value)
            if other.status == "optimal":
                expected = kitchen.expected(state, state.price, value, other)
                assert abs(other.objective - expected) > 1e-6, (where, value, state)
            counts["beyond"] += 1
    counts["binding" if state.binding else "loose"] += 1
    counts["one-sided"] += state.binding and bound in (state.holds_from, state.holds_to)


def prices_checked(seeds: range, folder: Path, prefer: str, kind: str, most: int = 2) -> Counter[str]:
    counts: Counter[str] = Counter()
    for seed in seeds:
        written, rows, recipe = drawn(seed, folder, kind)
        answer = solve(recipe, prefer, exact=True)
        if not isinstance(answer, Proposal) or not full(answer):
            continue
        kitchen = Kitchen(written, rows, answer)
        counts["recipes"] += 1
        rng = random.Random(seed)
        states = [state for state in answer.limits if state.price is not None and not rescaled(state, prefer, answer)]
        binding = [state for state in states if state.binding]
        loose = [state for state in states if not state.binding and state.actual is not None]
        for state in rng.sample(binding, min(most, len(binding))) + rng.sample(loose, min(1, len(loose))):
            checked(seed, kitchen, state, counts)
    return counts


def full(answer: Proposal) -> bool:
    """Whether as many are used as each choice allows: only then do the weights tell which choice was made."""
    return all(not state.limit.members or state.slack == 0 for state in answer.limits)


def rescaled(state: LimitState, prefer: str, answer: Proposal) -> bool:
    """`even` reckons a candidate's change as a share of its maximum, so moving that changes the measure itself."""
    starts = {weight.ingredient: weight.start for weight in answer.weights}
    return prefer == "even" and not starts.get(state.limit.name.removesuffix(" max"), 1)


@pytest.mark.parametrize("seeds", [
    range(2000, 2080), pytest.param(range(2080, 2240), marks=pytest.mark.slow),
    pytest.param(range(2240, 2480), marks=pytest.mark.slow),
], ids=str)
def test_a_price_holds_in_its_range_and_not_beyond(seeds: range, tmp_path: Path) -> None:
    counts = prices_checked(seeds, tmp_path, "closest", "mixed")
    share = len(seeds) / 240
    assert counts["recipes"] > 150 * share and counts["inside"] > 900 * share and counts["beyond"] > 400 * share, counts
    assert counts["loose"] > 100 * share and counts["one-sided"] > 40 * share, counts


def test_no_price_goes_on_below_nothing(tmp_path: Path) -> None:
    """A least weight of 0 that costs net carbs would cost them for less than nothing too, if there were that."""
    priced = 0
    for seed in range(40, 52):
        _, _, recipe = drawn(seed, tmp_path)
        answer = solve(recipe, "lowest-carb", exact=True)
        if isinstance(answer, Proposal):
            for state in answer.limits:
                if state.price:
                    assert state.holds_from is not None and state.holds_from >= 0, (seed, state)
                    priced += 1
    assert priced > 10


def test_every_preference_has_its_prices(tmp_path: Path) -> None:
    for number, prefer in enumerate(("even", "cheapest", "lightest", "lowest-carb")):
        seeds = range(3000 + 25 * number, 3020 + 25 * number)
        counts = prices_checked(seeds, tmp_path, prefer, "mixed", most=2)
        assert counts["recipes"] >= 10 and counts["inside"] > 40 and counts["beyond"] > 12, (prefer, counts)


def test_prices_hold_a_choice_fixed(tmp_path: Path) -> None:
    counts = prices_checked(range(3200, 3240), tmp_path, "closest", "choose", most=2)
    assert counts["recipes"] > 15 and counts["inside"] > 60 and counts["beyond"] > 25, counts


def test_a_share_of_the_energy_has_its_price(tmp_path: Path) -> None:
    counts = prices_checked(range(3300, 3340), tmp_path, "closest", "share", most=9)
    assert counts["recipes"] > 15 and counts["inside"] > 150 and counts["beyond"] > 60, counts


@pytest.mark.parametrize("kind, seeds", [
    ("mixed", range(2000, 2110)), ("choose", range(3200, 3240)),
    pytest.param("mixed", range(2110, 2440), marks=pytest.mark.slow),
])
def test_lowest_and_highest_over_all_and_over_the_best(kind: str, seeds: range, tmp_path: Path) -> None:
    """An end of a weight of each recipe, by GLOP, which tries every choice."""
    counts: Counter[str] = Counter()
    for seed in seeds:
        written, rows, recipe = drawn(seed, tmp_path, kind)
        answer = solve(recipe, exact=True)
        if not isinstance(answer, Proposal):
            continue
        counts["recipes"] += 1
        moved = float(answer.objective.value)
        ranged = [weight for weight in answer.weights if weight.lowest is not None]
        rng = random.Random(seed)
        weight, end = rng.choice(ranged), rng.choice(("lowest", "highest"))
        every = second_opinion.range_of(written, rows, weight.ingredient, end)
        best = second_opinion.range_of(written, rows, weight.ingredient, end, optimal_value=moved)
        assert float(getattr(weight, end)) == pytest.approx(every, abs=2e-5, rel=1e-6), (seed, weight, end)
        # the opinion's best answers may be 1e-9 worse, which frees a little
        assert float(getattr(weight, f"best_{end}")) == pytest.approx(best, abs=5e-3), (seed, weight, end)
        counts["tied"] += any(weight.best_highest - weight.best_lowest > 1 for weight in ranged)
    assert counts["recipes"] >= len(seeds) * (300 / 440 if kind == "mixed" else 0.5), counts
    assert counts["tied"] > len(seeds) * 3 / 440 or kind == "choose", counts


def test_a_saving_is_what_loosening_saves(tmp_path: Path) -> None:
    """Also of a ratio or a share, whose unit is worth more or less on the way, and of steps that are cut short."""
    counts: Counter[str] = Counter()
    for seed in range(3300, 3340):
        written, rows, recipe = drawn(seed, tmp_path)
        answer = solve(recipe, exact=True)
        if not isinstance(answer, Proposal) or not full(answer):
            continue
        kitchen = Kitchen(written, rows, answer)
        for state in answer.limits:
            words, saved = loosening(state)
            if words:
                number, _, rest = words.partition(" ")
                step = float(number) / (100 if "point" in rest else 1)
                side = -1 if state.limit.sense == ">=" else 1
                other = kitchen.moved(state, float(state.limit.bound) + side * step)
                assert kitchen.start.objective - other.objective == pytest.approx(saved, rel=1e-5, abs=2e-5), (
                    seed, state)
                assert saved > 0
                counts[state.limit.unit] += 1
                counts["short"] += words not in ("1 g", "0.1", "1 point", "10 kcal", "100 mg")
    assert counts["g"] > 40 and counts[":1"] > 5 and counts["share"] > 3 and counts["short"] > 5, counts


def oils(folder: Path, **more: Any) -> Proposal:
    """Two oils that are alike beside 400 g of a vegetable: by hand, 2 (6 + 29.6) - 1.2 = 70 g of oil."""
    foods = table(folder, food("veg", 0.3, 1.5, 9.2, 1.8), food("oil A", 100), food("oil B", 100))
    answer = solve(recipe_from(dish(
        [{"food": "veg", "grams": 400}, {"food": "oil A", "grams": 0, "min": 0, "max": 60},
         {"food": "oil B", "grams": 0, "min": 0, "max": 50}], targets={"ratio": 2}, **more), foods))
    assert isinstance(answer, Proposal)
    return answer


def test_json_tells_the_price_to_each_side(tmp_path: Path) -> None:
    """By hand: 50 g of oil keep a least of 50 g of fat as they are; a gram more costs one, a gram less saves none."""
    foods = table(tmp_path, food("oil", fat=100))
    recipe = recipe_from({"title": "Oil", "servings": 1, "targets": {"fat": {"min": 50}},
                          "ingredients": [{"food": "oil", "grams": 50, "min": 0, "max": 100}]}, foods)
    [fat, *_] = solve(recipe, exact=True).to_dict()["limits"]
    assert (fat["name"], fat["price"], fat["price_looser"]) == ("fat", 1.0, 0.0)


def test_of_two_identical_oils_either_will_do(tmp_path: Path) -> None:
    answer = oils(tmp_path)
    _, first, second = answer.weights
    assert (first.best_lowest, first.best_highest) == (20, 60)
    assert (second.best_lowest, second.best_highest) == (10, 50)
    assert (first.lowest, first.highest, second.lowest, second.highest) == (20, 60, 10, 50)
    assert best_line(answer.weights, True) == "equally good: 20 to 60 g of oil A, 10 to 50 g of oil B"
    ratio = answer.limits[0]
    # oil = ratio * 35.6 - 1.2, from 0 to 110
    assert ratio.price == pytest.approx(35.6)
    assert (ratio.holds_from, ratio.holds_to) == (pytest.approx(1.2 / 35.6), pytest.approx(111.2 / 35.6))


@pytest.mark.parametrize("settings, alike", [(64, 8), (0, 8), (0, 0)])
def test_a_choice_between_equally_good_ones_is_a_range(settings: int, alike: int, tmp_path: Path,
                                                       monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where there are too many ways to list, and where too many of these are as good."""
    monkeypatch.setattr(ranges, "MOST_SETTINGS", settings)
    monkeypatch.setattr(ranges, "MOST_AS_GOOD", alike)
    with pytest.raises(AssertionError):
        oils(tmp_path, choose=[{"from": ["oil A", "oil B"], "at_most": 1}])  # neither holds 70 g
    foods = table(tmp_path, food("veg", 0.3, 1.5, 9.2, 1.8), food("oil A", 100), food("oil B", 100))
    entries = [{"food": "veg", "grams": 400}, {"food": "oil A", "grams": 0, "min": 0, "max": 90},
               {"food": "oil B", "grams": 0, "min": 0, "max": 80}]
    answer = solve(recipe_from(dish(entries, targets={"ratio": 2},
                                    choose=[{"from": ["oil A", "oil B"], "at_most": 1}]), foods))
    assert isinstance(answer, Proposal)
    _, first, second = answer.weights
    best = (first.best_lowest, first.best_highest, second.best_lowest, second.best_highest)
    assert tuple(map(float, best)) == pytest.approx((0, 70, 0, 70), abs=1e-6 if alike else 1e-4)
    assert (first.lowest, first.highest, second.lowest, second.highest) == (0, 90, 0, 80)


@pytest.mark.parametrize("prefer", ["closest", "even", "cheapest", "lightest", "lowest-carb"])
def test_nothing_to_adjust_has_no_ranges_and_no_prices(prefer: str, tmp_path: Path) -> None:
    foods = table(tmp_path, food("cream", 36, 2, 3, price_per_kg=4, energy_kcal=344))
    answer = solve(recipe_from(dish([{"food": "cream", "grams": 100}], targets={"ratio": {"min": 7, "max": 8}}),
                               foods), prefer)
    assert isinstance(answer, Proposal)
    assert [weight.lowest for weight in answer.weights] == [None]
    least, most = answer.limits
    assert (least.price, least.holds_from, least.holds_to) == (0, None, pytest.approx(7.2))
    assert (most.price, most.holds_from, most.holds_to) == (0, pytest.approx(7.2), None)
    assert best_line(answer.weights, True) == ""


@pytest.mark.parametrize("alike, near", [(8, 1e-6), (0, 1e-2)])
def test_many_choices_are_searched_with_the_same_ranges(alike: int, near: float, tmp_path: Path,
                                                        monkeypatch: pytest.MonkeyPatch) -> None:
    """In place of a list of all choices a search for those that are as good, or an integer search for each end."""
    found = 0
    for seed in range(3200, 3207):
        _, _, recipe = drawn(seed, tmp_path, "choose")
        answer = solve(recipe, exact=True)
        with monkeypatch.context() as patch:
            patch.setattr(ranges, "MOST_SETTINGS", 0)
            patch.setattr(ranges, "MOST_AS_GOOD", alike)
            other = solve(recipe, exact=True)
        if isinstance(answer, Proposal) and isinstance(other, Proposal):
            for one, two in zip(answer.weights, other.weights, strict=True):
                if one.lowest is not None:
                    found += 1
                    for end in ("lowest", "highest"):
                        assert float(getattr(one, end)) == pytest.approx(float(getattr(two, end)), abs=1e-4), seed
                        assert float(getattr(one, f"best_{end}")) == pytest.approx(
                            float(getattr(two, f"best_{end}")), abs=near), seed
    assert found > 15


def test_text_json_and_csv_have_the_ranges(tmp_path: Path) -> None:
    answer = oils(tmp_path)
    text = json.loads(as_json(answer.to_dict()))
    assert text["weights"][1]["best_highest"] == 60 and text["weights"][2]["lowest"] == 10
    assert text["limits"][0]["holds_to"] == pytest.approx(111.2 / 35.6)
    assert text["limits"][0]["price_looser"] == pytest.approx(35.6)
    assert {"lowest", "highest", "best_lowest", "best_highest"} <= set(WEIGHT_COLUMNS)
    assert {"price", "holds_from", "holds_to", "price_looser", "looser_until"} <= set(LIMIT_COLUMNS)
    report = answer.report()
    assert "could be" in report and "20 to 60" in report
    assert "equally good between the steps: 20 to 60 g of oil A" in report


def test_an_equally_good_answer_without_a_denominator(tmp_path: Path) -> None:
    """Nothing at all has no net carbs and no ratio: above 1:1 it is best, so the ratio costs nothing and has no end."""
    foods = table(tmp_path, food("even", fat=50, protein=50), food("cream", 40, 5, 5), food("sugar", carbs=100))
    spans = {"even": (10, 200), "cream": (0, 500), "sugar": (20, 100)}
    written = dish([{"food": name, "grams": grams, "min": 0, "max": most} for name, (grams, most) in spans.items()],
                   targets={"ratio": 1, "net_carbs": 20})
    answer = solve(recipe_from(written, foods), "lowest-carb", exact=True)
    assert isinstance(answer, Proposal)
    ratio = next(state for state in answer.limits if state.limit.name == "ratio")
    assert (ratio.price, ratio.holds_to) == (0, None)
