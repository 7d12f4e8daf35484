"""With a choice, what is called proven by exact arithmetic is proven for every choice."""

from __future__ import annotations

from pathlib import Path

import pytest

from ratio_solver import recipe_from, solve
from ratio_solver.lp import solve as branching
from tests.kitchen import dish, drawn, food, table
from tests.oracle.second_opinion import solve_closest


def test_a_choice_that_costs_something_is_proven_exactly(tmp_path: Path) -> None:
    """Two fats with 15 g of room each would move least together; one alone must reach the ratio."""
    foods = table(tmp_path, food("veg", 0, 2, 8), food("oil", 100), food("lard", 90))
    fats = [{"food": name, "grams": 10, "min": 0, "max": 60} for name in ("oil", "lard")]
    written = dish([{"food": "veg", "grams": 100}, *fats], targets={"ratio": 2},
                   choose=[{"from": ["oil", "lard"], "at_most": 1}])
    answer = solve(recipe_from(written, foods), exact=True)
    assert answer.outcome == "solved"
    # Without the choice 19 g of fat come from the start and 1 g of oil more; with it lard goes, and oil brings 20 g.
    assert float(answer.objective.value) == pytest.approx(20, abs=1e-6)
    assert float(answer.objective.bound) == pytest.approx(20, abs=1e-5)
    assert answer.objective.proof == "exact" and answer.objective.proven


def test_what_only_a_search_has_chosen_is_not_called_exact(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same dish with too many ways to go through: HiGHS chooses as well, and says so."""
    foods = table(tmp_path, food("veg", 0, 2, 8), food("oil", 100), food("lard", 90))
    fats = [{"food": name, "grams": 10, "min": 0, "max": 60} for name in ("oil", "lard")]
    written = dish([{"food": "veg", "grams": 100}, *fats], targets={"ratio": 2},
                   choose=[{"from": ["oil", "lard"], "at_most": 1}])
    monkeypatch.setattr(branching, "MOST_BRANCHED", 1)
    answer = solve(recipe_from(written, foods), exact=True)
    assert answer.outcome == "solved"
    assert float(answer.objective.value) == pytest.approx(20, abs=1e-6)
    assert answer.objective.proof == "search" and float(answer.objective.bound) == pytest.approx(20, abs=1e-5)


def test_bounds_hold_for_every_choice(tmp_path: Path) -> None:
    proofs = set()
    for seed in range(30):
        folder = tmp_path / str(seed)
        folder.mkdir()
        written, rows, recipe = drawn(seed, folder, "choose")
        answer, other = solve(recipe, exact=True), solve_closest(written, rows)
        if answer.outcome == "solved":
            value, bound = float(answer.objective.value), float(answer.objective.bound)
            assert bound <= other.objective + 1e-5 * max(1.0, other.objective), seed
            assert value - bound <= 1e-5 * max(1.0, value), seed
            proofs.add(answer.objective.proof)
    assert proofs == {"exact"}  # part by part, whatever the solver's search says
