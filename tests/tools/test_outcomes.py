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

from ratio_solver import (
    Proposal,
    Recipe,
    add_fat,
    adjust,
    check,
    curve,
    load_foods,
    portions,
    read_recipe,
    recipe_from,
    scale_error,
    scale_named,
    shopping,
    solve,
    swap,
    try_all,
    what_if,
)
from ratio_solver.cli import main
from ratio_solver.outcome import Outcome

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
FOODS = load_foods(*EXAMPLES.glob("*foods*.csv"))
OWN = [word for table in EXAMPLES.glob("*foods*.csv") for word in ("--foods", str(table))]
GRATIN, SOUP = "celeriac-gratin", "salmon-soup"
GHEE = "ghee (butter oil, anhydrous)"

HOSTILE = '<img src=x onerror="alert(1)"> & </td><script>'


def solved(dish: Recipe, **how: Any) -> Proposal:
    found = solve(dish, foods=FOODS, **how)
    assert isinstance(found, Proposal)
    return found


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
    "solve": (GRATIN, lambda dish: solve(dish, foods=FOODS), ["solve", "FILE"]),
    "solve exactly": (SOUP, lambda dish: solve(dish, "even", exact=True, foods=FOODS),
                      ["solve", "FILE", "--prefer", "even", "--exact"]),
    "guaranteed": (GRATIN, lambda dish: solve(dish, guaranteed="mean", foods=FOODS),
                   ["solve", "FILE", "--guaranteed"]),
    "confidence": (GRATIN, lambda dish: solve(dish, confidence=0.9, foods=FOODS),
                   ["solve", "FILE", "--confidence", "0.9"]),
    "impossible": ("impossible-dumplings", lambda dish: solve(dish, foods=FOODS), ["solve", "FILE"]),
    "check": (GRATIN, check, ["check", "FILE"]),
    "check with a confidence": (GRATIN, lambda dish: check(dish, confidence=0.9),
                                ["check", "FILE", "--confidence", "0.9"]),
    "portions": (GRATIN, lambda dish: portions(dish, solved(dish).grams_of_each), ["portions", "FILE"]),
    "portions of 100 g": (GRATIN, lambda dish: portions(dish, check(dish).grams_of_each, portion_grams=100),
                          ["portions", "FILE", "--as-written", "--portion-grams", "100"]),
    "shopping": (GRATIN, lambda dish: shopping(dish, solved(dish).grams_of_each, 12, foods=FOODS),
                 ["shopping", "FILE", "--servings", "12"]),
    "what-if": (GRATIN, lambda dish: what_if(dish, FOODS, ["ratio=2.5", "net_carbs=5"]),
                ["solve", "FILE", "--what-if", "ratio=2.5", "--what-if", "net_carbs=5"]),
}


@pytest.mark.parametrize("case", CASES)
def test_an_answer_says_what_the_command_says(case: str) -> None:
    name, answer, arguments = CASES[case]
    file = EXAMPLES / f"{name}.toml"
    found = answer(read_recipe(file, FOODS))

    def run(form: str) -> str:
        given = [part.replace("FILE", str(file)) for part in arguments]
        result = CliRunner().invoke(main, [*given, *OWN, "--format", form])
        assert result.exit_code == (3 if found.outcome in ("impossible", "broken") else 0), result.output
        return result.stdout

    assert found.report() + "\n" == run("text")
    assert found.to_dict() == json.loads(run("json"))
    header, *cells = csv.reader(io.StringIO(run("csv")))
    rows = found.rows()
    assert all(list(row) == header for row in rows)
    assert [["" if value is None else str(value) for value in row.values()] for row in rows] == cells
    looked_at(found)


def looked_at(found: Outcome) -> None:
    """A look is short, a notebook has tables, and both have the caution wherever the report has it."""
    cautioned = "no medical advice" in found.report()
    assert cautioned or found.outcome == "listed"
    assert len(repr(found).splitlines()) <= 10 and ("no medical advice" in repr(found)) == cautioned
    assert "<table>" in found._repr_html_() and ("no medical advice" in found._repr_html_()) == cautioned


def outcomes_of(dish: Recipe) -> list[Outcome]:
    """What there is to say of a dish, without the slow ones."""
    answer, written = solve(dish), check(dish)
    weights = answer.grams_of_each if isinstance(answer, Proposal) else written.grams_of_each
    return [answer, written, portions(dish, weights), shopping(dish, weights, foods=FOODS),
            scale_error(dish, weights, scale_named("oiml")), what_if(dish, FOODS, ["servings=3"])]


@pytest.mark.parametrize("file", sorted(EXAMPLES.glob("*.toml")), ids=lambda file: file.stem)
def test_a_look_at_any_of_the_examples_is_short(file: Path) -> None:
    for found in outcomes_of(read_recipe(file, FOODS)):
        looked_at(found)


def test_a_notebook_shows_a_hostile_name_as_text() -> None:
    dish = recipe_from({"title": HOSTILE, "servings": 2, "targets": {"ratio": 1}, "ingredients": [
        {"food": "butter, salted", "label": HOSTILE, "grams": 50, "min": 0, "max": 90},
        {"food": "celeriac, raw", "grams": 200}]}, FOODS)
    for found in (*outcomes_of(dish), adjust(dish, {"celeriac": 210}), curve(dish),
                  swap(dish, FOODS, [(HOSTILE, "lard")])):
        shown = found._repr_html_()
        assert "<img" not in shown and "<script" not in shown and "</td><script" not in shown
        assert "&lt;img src=x onerror=&quot;alert(1)&quot;&gt; &amp; &lt;/td&gt;&lt;script&gt;" in shown


def test_options_show_the_same_in_the_library_as_on_the_command_line() -> None:
    file = str(EXAMPLES / f"{GRATIN}.toml")
    for command, found in (("solve", solved(read_recipe(file, FOODS))), ("check", check(read_recipe(file, FOODS)))):
        given = [command, file, *OWN, "--scale-error", "oiml", "--measures"]
        assert found.report(scale_error="oiml", measures=True) + "\n" == CliRunner().invoke(main, given).stdout
        told = json.loads(CliRunner().invoke(main, [*given, "--format", "json"]).stdout)
        assert found.to_dict(scale_error="oiml") == told
        figures = scale_error(found.recipe, found.grams_of_each, scale_named("oiml")).to_dict()
        assert told["scale_error"].items() <= figures.items() and figures["cautions"]
    with pytest.raises(TypeError, match="mesures"):
        found.report(mesures=True)
