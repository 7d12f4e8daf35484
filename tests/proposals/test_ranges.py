"""Ranges of weights and prices against re-solving with another solver (GLOP), in code that shares nothing with ours."""

from __future__ import annotations

import copy
import random
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from ratio_solver import Proposal, solve
from ratio_solver.recipes.standing import LimitState
from tests.kitchen import drawn

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
        entries = [entry for entry in written["ingredients"] if "min" in entry]
        if any(entry["min"] > entry["max"] for entry in entries):
            return second_opinion.INFEASIBLE
        return second_opinion.solve_objective(written, self.rows, self.answer.prefer, tie_break=True)

    def moved(self, state: LimitState, value: float) -> Any:
        """The re-solved recipe with one limit at another value."""
        written = copy.deepcopy(self.written)
        limit = state.limit
        end = "min" if limit.sense == ">=" else "max"
        if limit.kind == "target":
            targets, key = written["targets"], limit.name.removeprefix("total ").replace(" ", "_")
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
    bound, where = float(state.limit.bound), (seed, *state.limit.key)
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


def prices_checked(seeds: range, folder: Path, prefer: str, kind: str, most: int = 6) -> Counter[str]:
    counts: Counter[str] = Counter()
    for seed in seeds:
        written, rows, recipe = drawn(seed, folder, kind)
        answer = solve(recipe, prefer)
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


@pytest.mark.parametrize("seeds", [range(2000, 2220), range(2220, 2440)], ids=str)
def test_a_price_holds_in_its_range_and_not_beyond(seeds: range, tmp_path: Path) -> None:
    counts = prices_checked(seeds, tmp_path, "closest", "mixed")
    assert counts["recipes"] > 140 and counts["inside"] > 1000 and counts["beyond"] > 500, counts
    assert counts["loose"] > 120 and counts["one-sided"] > 30, counts
