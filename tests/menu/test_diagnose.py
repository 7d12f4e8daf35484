"""What a menu says of an impossible recipe, by hand: 40 g of protein and at most 60 g of oil at 2:1."""

from __future__ import annotations

from pathlib import Path

import pytest

from ratio_solver import MenuOptions, solve_menu
from ratio_solver.menu.solve import Diagnose
from tests.kitchen import food, table
from tests.menu.drawing import framed

CONFLICT = "cannot be kept together: ratio >= 2:1; oil max <= 60 g"


@pytest.mark.parametrize("exact", [True, False])
@pytest.mark.parametrize(("diagnose", "message"), [
    ("none", "no weights keep all the limits"),
    ("first", f"{CONFLICT}. First change that cures it: ratio >= 1.5:1"),
    ("full", f"{CONFLICT}. Each of these changes cures it by itself: ratio >= 1.5:1; oil max <= 80 g"),
])
def test_as_much_is_said_as_is_asked_for(diagnose: Diagnose, message: str, exact: bool, tmp_path: Path) -> None:
    """60 / 40 is 1.5, a quarter less than 2; 2 * 40 is 80 g of oil, a third more than 60. The leaf says nothing."""
    own = table(tmp_path, food("oil", fat=100), food("meat", protein=100), food("leaf"))
    frame = framed([
        {"recipe": "dip", "servings": "1", "ratio": "2", "food": "oil", "grams": "50", "min": "10", "max": "60"},
        {"recipe": "dip", "food": "meat", "grams": "40"},
        {"recipe": "dip", "food": "leaf", "grams": "30", "min": "20", "max": "90"},
        {"recipe": "roast", "servings": "1", "ratio": "0.9", "food": "oil", "grams": "40", "min": "10", "max": "60"},
        {"recipe": "roast", "food": "meat", "grams": "40"},
    ])
    found = solve_menu(frame, own, MenuOptions(exact=exact, diagnose=diagnose))
    assert found.servings["outcome"].tolist() == ["impossible", "solved"]
    assert found.servings["message"].tolist() == [message, ""]
    # Between the steps the change leaves no room for rounding, and the per-recipe solver is asked.
    assert found.alone == (diagnose == "full" or (diagnose == "first" and exact))
    assert found.weights["recipe"].unique().tolist() == ["roast"]
