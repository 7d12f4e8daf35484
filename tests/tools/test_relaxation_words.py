"""What a cook is told of a recipe without an answer: text, JSON and CSV by the command line."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ratio_solver.cli import main
from ratio_solver.dish.constraints import Limit, Subject
from ratio_solver.solving.result import Diagnosis, Repair
from ratio_solver.tools.solve.impossible import changes_heading, stuck_names
from ratio_solver.tools.solve.relaxation_words import asked, sentence, told

SOUP = """title = "Leek soup"
servings = 4
[targets]
ratio = 2.0
net_carbs = 8.0
[[ingredients]]
food = "leeks, raw"
label = "leek rings"
grams = 400
min = 300
max = 500
[[ingredients]]
food = "olive oil"
label = "oil"
grams = 20
min = 0
max = 40
"""


@pytest.fixture
def soup(tmp_path: Path) -> str:
    foods = CliRunner().invoke(main, ["foods", "leek", "--format", "csv"]).stdout
    name = next(row["food"] for row in csv.DictReader(io.StringIO(foods)) if "raw" in row["food"])
    path = tmp_path / "soup.toml"
    path.write_text(SOUP.replace("leeks, raw", name), encoding="utf-8")
    return str(path)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, arguments)


def test_the_text_says_why_and_what_to_change(soup: str) -> None:
    result = run("solve", soup, "--net-carbs", "20")
    assert result.exit_code == 3
    lines = result.stdout.splitlines()
    assert lines[1].startswith("With at least 300 g of leek rings and at most 40 g of oil, no weights give")
    assert any(line.strip().startswith("raise oil's maximum from 40 g to ") for line in lines)
    assert any(line.strip().startswith("lower leek rings' minimum from 300 g to ") for line in lines)
    assert any(line.strip().startswith("accept ") and "instead of 2:1" in line for line in lines)
    assert "Proven in exact arithmetic." in lines
    assert max(map(len, lines)) <= 80
    assert "no medical" in result.stdout


def test_what_the_text_says_solves(soup: str) -> None:
    data = json.loads(run("solve", soup, "--net-carbs", "20", "--format", "json").stdout)["diagnosis"]
    ratio = next(repair for repair in data["repairs"] if repair["limit"] == "ratio")
    assert run("solve", soup, "--net-carbs", "20", "--ratio", str(ratio["to"])).exit_code == 0
    text = Path(soup).read_text(encoding="utf-8")
    oil = next(repair for repair in data["repairs"] if repair["limit"] == "oil max")
    Path(soup).write_text(text.replace("max = 40", f"max = {oil['to']}"), encoding="utf-8")
    assert run("solve", soup, "--net-carbs", "20").exit_code == 0


def test_keys_of_the_json(soup: str) -> None:
    data = json.loads(run("solve", soup, "--net-carbs", "20", "--format", "json").stdout)["diagnosis"]
    assert {"conflict", "repairs", "joint_repair", "best_ratio", "least_net_carbs", "sentence", "proven", "stuck",
            "fats", "steps"} <= set(data)
    assert all(isinstance(name, str) for name in data["conflict"])
    assert data["proven"] is True and data["steps"] is False and data["sentence"].endswith(".")
    for repair in data["repairs"]:
        assert {"limit", "from", "to", "sense", "unit", "kind", "words"} <= set(repair)
        assert (repair["to"] < repair["from"]) == (repair["sense"] == ">=")
    assert 0 < data["best_ratio"] < 2
    assert data["fats"] and {"food", "id", "grams", "allergens"} <= set(data["fats"][0])
    grams = [fat["grams"] for fat in data["fats"]]
    assert grams == sorted(grams) and len(grams) == 5


def test_csv_has_a_line_for_each_cure(soup: str) -> None:
    result = run("solve", soup, "--net-carbs", "20", "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(result.stdout)))
    data = json.loads(run("solve", soup, "--net-carbs", "20", "--format", "json").stdout)["diagnosis"]
    assert result.exit_code == 3
    alone = [row for row in rows if row["cures"] == "alone" and row["kind"] != "added"]
    assert [(row["limit"], float(row["to"])) for row in alone] == [(r["limit"], r["to"]) for r in data["repairs"]]
    assert sum(row["kind"] == "added" for row in rows) == len(data["fats"])


def test_several_limits_together_where_no_single_one_cures(soup: str) -> None:
    for form in ("text", "json"):
        result = run("solve", soup, "--net-carbs", "0.5", "--ratio", "30", "--target", "protein>=20", "--format", form)
        assert result.exit_code == 3
        if form == "json":
            data = json.loads(result.stdout)["diagnosis"]
            assert not data["repairs"] and len(data["joint_repair"]) > 1 and data["fats"] == []
        else:
            assert "No change of one of them cures it; these together do" in result.stdout
            assert "no fat of the table cures it" in result.stdout


def limit(name: str, kind: str, sense: str, bound: str, unit: str) -> Limit:
    words = name.removesuffix(" max").removesuffix(" min").removesuffix(" weight").removeprefix("choose ")
    subject = Subject("energy_kcal" if name == "energy" else "", words=words)
    return Limit(name, kind, sense, Fraction(bound), unit, (), (), Fraction(1), subject=subject)


WORDS = [
    (limit("olive oil max", "ingredient", "<=", "60", "g"), "84", "at most 60 g of olive oil",
     "raise olive oil's maximum from 60 g to 84 g"),
    (limit("eggs min", "ingredient", ">=", "100", "g"), "50", "at least 100 g of eggs",
     "lower eggs' minimum from 100 g to 50 g"),
    (limit("net carbs", "target", "<=", "6", "g"), "7.9", "at most 6 g net carbs per serving",
     "allow 7.9 g net carbs per serving instead of 6 g"),
    (limit("protein", "target", ">=", "20", "g"), "17.25", "at least 20 g protein per serving",
     "accept 17.25 g protein per serving instead of 20 g"),
    (limit("energy", "target", "<=", "600", "kcal"), "640", "at most 600 kcal per serving",
     "allow 640 kcal per serving instead of 600 kcal"),
    (limit("ratio", "target", ">=", "2", ":1"), "1.74", "a ratio of at least 2:1", "accept 1.74:1 instead of 2:1"),
    (limit("ratio", "target", "<=", "2.1", ":1"), "2.5", "a ratio of at most 2.10:1",
     "allow a ratio of up to 2.50:1 instead of 2.10:1"),
    (limit("topping weight", "part", "<=", "600", "g"), "690", "at most 600 g of topping",
     "let the topping weigh 690 g instead of 600 g"),
    (limit("egg in batch", "proportion", ">=", "0.125", "share"), "0.1", "at least 12.5 % egg in batch",
     "accept 10 % egg in batch instead of 12.5 %"),
    (limit("choose butter, oil", "choose", "<=", "1", "used"), "2", "at most 1 of butter, oil",
     "use up to 2 of butter, oil instead of 1"),
]


@pytest.mark.parametrize(("made", "to", "noun", "order"), WORDS, ids=[made.name for made, *_ in WORDS])
def test_words_of_a_cook(made: Limit, to: str, noun: str, order: str) -> None:
    assert asked(made) == noun
    assert told(Repair(made, Fraction(to))) == order


def test_one_sentence() -> None:
    oil, eggs, carbs, protein = (made for made, *_ in WORDS[:4])
    assert sentence(Diagnosis((oil,))) == "No weights give at most 60 g of olive oil."
    assert sentence(Diagnosis((oil, eggs))) == (
        "No weights give at most 60 g of olive oil and at least 100 g of eggs together.")
    assert sentence(Diagnosis((carbs, protein, oil), steps=True)) == (
        "With at most 60 g of olive oil, no weights on the steps give both at most 6 g net carbs per serving and "
        "at least 20 g protein per serving.")


def test_of_many_limits_the_sentence_names_some() -> None:
    carbs, named = WORDS[2][0], [f"at least {count} g of food {count}" for count in range(1, 12)]
    bounds = [limit(f"food {count} min", "ingredient", ">=", str(count), "g") for count in range(1, 31)]
    assert sentence(Diagnosis((*bounds, carbs))) == (
        f"With {', '.join(named)} and 19 more limits, "
        "no weights give at most 6 g net carbs per serving.")
    assert sentence(Diagnosis(tuple(bounds[:12]))) == (
        f"No weights give {', '.join(named)} and at least 12 g of food 12 together.")


def test_where_the_time_was_up_it_is_not_said_that_no_change_of_one_limit_cures() -> None:
    """With all limits looked at the changes of several are what is left; else one that was not may do alone."""
    carbs, least, oil = WORDS[2][0], WORDS[5][0], WORDS[1][0]
    together = Diagnosis((carbs, least, oil), joint_repair=(Repair(least, Fraction(1)), Repair(oil, Fraction(90))))
    assert changes_heading(together) == "No change of one of them cures it; these together do"
    assert changes_heading(replace(together, left_out=(carbs,))) == "These changes together cure it"
    one = replace(together, joint_repair=together.joint_repair[:1])
    assert changes_heading(one) == "No change of one of them cures it; this does"
    assert changes_heading(replace(one, left_out=(carbs,))) == "This change cures it"
    alone = replace(together, repairs=together.joint_repair[:1], joint_repair=(), left_out=(carbs,))
    assert changes_heading(alone) == "This change alone cures it"


def test_of_a_band_it_is_said_which_end_no_change_of_cures() -> None:
    carbs, least, most = WORDS[2][0], WORDS[5][0], WORDS[6][0]
    both = Diagnosis((least, most, carbs), repairs=(Repair(most, Fraction(5, 2)),))
    assert stuck_names(both) == ["a ratio of at least 2:1", "net carbs"]
    assert stuck_names(Diagnosis((least, carbs), repairs=(Repair(carbs, Fraction(9)),))) == ["ratio"]
