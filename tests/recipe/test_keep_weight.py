"""The batch kept within a share of its weight at the start: in the recipe file, as an option, as a limit."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import (
    BadInput,
    FoodTable,
    Impossible,
    Proposal,
    recipe_from,
    recipe_text,
    solve,
    with_kept_weight,
)
from ratio_solver.cli import main
from ratio_solver.recipe.change import scaled
from tests.kitchen import dish, drawn, food, table
from tests.recipe.another_solver import agreed_status


@pytest.fixture
def own(tmp_path: Path) -> FoodTable:
    return table(tmp_path, food("starch", 0, 0, 80), food("veg", 0, 2, 4, 2), food("oil", 100))


def pan(share: float | None = None, **more: Any) -> dict[str, Any]:
    """300 g of a starch that must go, 100 g of a vegetable and 100 g of oil: 500 g."""
    kept = {} if share is None else {"keep_weight": share}
    return dish([{"food": "starch", "grams": 300, "min": 0, "max": 300},
                 {"food": "veg", "grams": 100, "min": 0, "max": 600},
                 {"food": "oil", "grams": 100, "min": 0, "max": 100}], **kept, **more)


def grams(answer: object) -> list[float]:
    assert isinstance(answer, Proposal)
    return [float(weight.grams) for weight in answer.weights]


def test_the_batch_keeps_its_weight_by_hand(own: FoodTable) -> None:
    """Without starch 200 g are left of 500; within 10 % there are 450 at least, and only the vegetable may grow."""
    free = {"targets": {"net_carbs": {"max": 20}, "carbs": {"max": 30}}}
    assert sum(grams(solve(recipe_from(pan(**free), own)))) < 450
    for share, least in ((0.1, 450), (0.2, 400)):
        answer = solve(recipe_from(pan(share, **free), own))
        assert sum(grams(answer)) == least, share
        state = next(s for s in answer.limits if s.limit.name == "batch weight" and s.limit.sense == ">=")
        assert state.binding and state.price is not None and state.price > 0
    exactly = recipe_from(pan(0, **free), own)
    assert (exactly.parts[0].minimum, exactly.parts[0].maximum) == (500, 500)


def test_what_cannot_keep_its_weight_is_diagnosed_and_cured(own: FoodTable) -> None:
    """At most 100 g of oil and no carbohydrate at all: 100 g, far from 450."""
    written = pan(0.1, targets={"carbs": {"max": 0}})
    answer = solve(recipe_from(written, own))
    assert isinstance(answer, Impossible)
    assert "batch weight" in [limit.name for limit in answer.diagnosis.conflict]
    cure = next(repair for repair in answer.diagnosis.repairs if repair.limit.name == "batch weight")
    assert float(cure.to) == 100
    assert "let the batch weigh 100 g instead of 450 g" in " ".join(str(answer.report()).split())
    del written["keep_weight"]
    written["parts"] = {"batch": {"min": 100, "max": 550}}
    assert sum(grams(solve(recipe_from(written, own)))) == 100


def test_it_is_written_scaled_and_replaced(own: FoodTable) -> None:
    recipe = recipe_from(pan(0.1), own)
    assert "[parts.batch]\nmin = 450\nmax = 550" in recipe_text(recipe)
    assert (scaled(recipe, 2).parts[0].minimum, scaled(recipe, 2).parts[0].maximum) == (900, 1100)
    other = with_kept_weight(recipe, 0.25)
    assert [(part.name, part.minimum, part.maximum) for part in other.parts] == [("batch", 375, 625)]


def test_the_option_does_as_the_key(tmp_path: Path) -> None:
    arguments = ["solve", "examples/celeriac-gratin.toml", "--keep-weight", "0.1", "--format", "json"]
    found = json.loads(CliRunner().invoke(main, arguments).stdout)
    text = Path("examples/celeriac-gratin.toml").read_text(encoding="utf-8")
    path = tmp_path / "gratin.toml"
    path.write_text(f"keep_weight = 0.1\n{text}", encoding="utf-8")
    assert json.loads(CliRunner().invoke(main, ["solve", str(path), "--format", "json"]).stdout) == found
    batch = [limit for limit in found["limits"] if limit["name"] == "batch weight"]
    bounds = [(limit["sense"], limit["limit"]) for limit in batch]
    assert bounds == [(">=", 1592.55), ("<=", 1946.45)]  # of 1769.5 g
    bad = CliRunner().invoke(main, ["solve", "examples/celeriac-gratin.toml", "--keep-weight", "10"])
    assert bad.exit_code == 1 and bad.stderr == "--keep-weight: got 10.0; expected a share from 0 to 1, 0.1 for 10 %\n"


@pytest.mark.parametrize(("change", "said"), [
    ({"keep_weight": 10}, "0.1 for 10 %"), ({"keep_weight": "a tenth"}, "0.1 for 10 %"),
    ({"keep_weight": 0.1, "parts": {"batch": {"min": 1}}}, r"keep_weight or \[parts.batch\]"),
])
def test_what_is_wrong_is_said(change: dict[str, Any], said: str, own: FoodTable) -> None:
    with pytest.raises(BadInput, match=said) as caught:
        recipe_from(pan() | change, own)
    assert [fault.place for fault in caught.value.faults] == ["keep_weight"]


def test_a_batch_of_nothing_keeps_no_weight(own: FoodTable) -> None:
    empty = dish([{"food": "oil", "grams": 0, "min": 0, "max": 9}])
    with pytest.raises(BadInput, match="weighs something"):
        recipe_from(empty | {"keep_weight": 0.1}, own)
    with pytest.raises(BadInput, match="weighs something"):
        with_kept_weight(recipe_from(empty, own), 0.1)


def test_the_same_best_as_another_solver(tmp_path: Path) -> None:
    """Random recipes kept within a random share, against GLOP, which is told of it from its definition."""
    outcomes = set()
    for seed in range(200, 260):
        written, rows, _ = drawn(seed, tmp_path)
        written["keep_weight"] = random.Random(seed).choice((0.02, 0.05, 0.1, 0.3))
        outcomes.add(agreed_status(written, rows, tmp_path, seed))
    assert outcomes == {"optimal", "infeasible"}
