"""What the library answers with says the same as the command: text, JSON and CSV; a look at it is short."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import add_fat, adjust, curve, load_foods, read_recipe, swap, try_all, what_if
from ratio_solver.cli import main
from ratio_solver.outcome import Outcome

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
FOODS = load_foods()
GRATIN, SOUP = "celeriac-gratin", "salmon-soup"
GHEE = "ghee (butter oil, anhydrous)"

CASES: dict[str, tuple[str, Callable[[Any], Outcome], list[str]]] = {
    "add-fat": (GRATIN, lambda dish: add_fat(dish, FOODS), ["add-fat", "FILE"]),
    "adjusted": (GRATIN, lambda dish: adjust(dish, {"cream": 480}), ["adjust", "FILE", "--weighed", "cream=480"]),
    "impossible bowl": (SOUP, lambda dish: adjust(dish, {"butter": 90}), ["adjust", "FILE", "--weighed", "butter=90"]),
    "remedy taken": (SOUP, lambda dish: adjust(dish, {"butter": 90}).take(2),
                     ["adjust", "FILE", "--weighed", "butter=90", "--take", "2"]),
    "curves": (SOUP, curve, ["curve", "FILE"]),
    "one curve": (SOUP, lambda dish: curve(dish).curves[1], ["curve", "FILE", "--of", "ratio"]),
    "the other curve": (SOUP, lambda dish: curve(dish).curves[0], ["curve", "FILE", "--of", "net-carbs"]),
    "swap": (GRATIN, lambda dish: swap(dish, FOODS, [("butter", GHEE)], "fat"),
             ["swap", "FILE", "butter", GHEE, "--by", "fat"]),
    "try-all": (GRATIN, lambda dish: try_all(dish, FOODS, "milk", "egg"), ["swap", "FILE", "milk", "--try-all", "egg"]),
    "what-if": (GRATIN, lambda dish: what_if(dish, FOODS, ["ratio=2.5", "net_carbs=5"]),
                ["solve", "FILE", "--what-if", "ratio=2.5", "--what-if", "net_carbs=5"]),
}


@pytest.mark.parametrize("case", CASES)
def test_an_answer_says_what_the_command_says(case: str) -> None:
    name, answer, arguments = CASES[case]
    file = EXAMPLES / f"{name}.toml"
    found = answer(read_recipe(file, FOODS))

    def run(form: str) -> str:
        result = CliRunner().invoke(main, [*(part.replace("FILE", str(file)) for part in arguments), "--format", form])
        assert result.exit_code == (0 if found.outcome in ("solved", "kept") else 3)
        return result.stdout

    assert found.report() + "\n" == run("text")
    assert found.to_dict() == json.loads(run("json"))
    header, *cells = csv.reader(io.StringIO(run("csv")))
    rows = found.rows()
    assert all(list(row) == header for row in rows)
    assert [["" if value is None else str(value) for value in row.values()] for row in rows] == cells
    assert len(repr(found).splitlines()) <= 10 and "no medical advice" in repr(found)
    assert "<table>" in found._repr_html_()  # type: ignore[operator]
