"""What was published, reckoned again: a food that changed is named with the figures it moved, and nothing else."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from ratio_solver.cli import main
from tests.kitchen import food, table_file

EXAMPLES = Path(__file__).resolve().parent.parent.parent / "examples"
ROWS = (
    food("curd", 10, 12, 4, sodium_mg=40, saturated_g=6, sugars_g=4, allergens="milk"),
    food("oil", 100, sodium_mg=0, saturated_g=10, role="fat", allergens="none"),
    food("turnip", 0, 1, 8, 2, sodium_mg=50, sugars_g=5, allergens="none"),
)
DISH = """title = "Curd and turnip"
servings = 2
foods = ["own.csv"]
[targets]
ratio = 1.5
net_carbs = 12
[[ingredients]]
food = "curd"
grams = 200
[[ingredients]]
food = "oil"
grams = 60
[[ingredients]]
food = "turnip"
grams = 200
"""


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def published(tmp_path: Path) -> Path:
    """A record beside the recipe and its table: 26 + 24 g protein, 8 + 12 g net carbs, 80 g fat in two servings."""
    table_file(tmp_path, *ROWS)
    (tmp_path / "dish.toml").write_text(DISH, encoding="utf-8")
    record = tmp_path / "published.json"
    done = run("card", tmp_path / "dish.toml", "--as-written", "--label", "eu", "-o", tmp_path / "dish.html",
               "--record", record)
    assert done.exit_code == 0, done.output
    return record


def changed(folder: Path, name: str, **cells: object) -> Path:
    """The table with one row changed, as a file of its own."""
    path = folder / "new.csv"
    rows = [row | {key: str(value) for key, value in cells.items()} if row["food"] == name else row for row in ROWS]
    with path.open("w", encoding="utf-8", newline="") as file:
        columns = dict.fromkeys(column for row in rows for column in row)
        writer = csv.DictWriter(file, list(columns), restval="")
        writer.writeheader()
        writer.writerows(rows)
    return path


def moved(record: Path, *options: object) -> dict[str, dict[str, Any]]:
    done = run("recheck", record, "--format", "json", *options)
    [dish] = json.loads(done.stdout)["dishes"]
    return {one["figure"]: one for one in dish["moved"]}


def test_what_is_unchanged_is_no_line(published: Path, tmp_path: Path) -> None:
    for options in ((), ("--foods", changed(tmp_path, "none of them"))):
        done = run("recheck", published, *options)
        assert (done.exit_code, done.stdout, done.stderr) == (0, "", "")


def test_one_food_that_changed_is_named_with_the_figures_it_moved(published: Path, tmp_path: Path) -> None:
    """200 g of turnip in two servings: 3 g more in 100 g are 3 g more a serving. By hand, net carbs 10 -> 13 g.

    A serving of 230 g has 40 g of fat, 13 g of protein, 2 g of fibre: 40 : (13 + 10) is 1.7:1, 40 : (13 + 13) 1.5:1;
    9 x 40 + 4 x 13 + 4 x 10 + 2 x 2 are 456 kcal, 37 x 40 + 17 x 13 + 17 x 10 + 8 x 2 are 1887 kJ.
    """
    new = changed(tmp_path, "turnip", carbs_g=11)
    done = run("recheck", published, "--foods", new)
    assert done.exit_code == 3
    found = moved(published, "--foods", new)
    assert {name: (one["published"], one["now"]) for name, one in found.items()} == {
        "total carbs": ("12.00 g", "15.00 g"), "net carbs": ("10.00 g", "13.00 g"), "ratio": ("1.7:1", "1.5:1"),
        "energy": ("456 kcal", "468 kcal"),
        "EU label: energy": ("1887 kJ / 456 kcal", "1938 kJ / 468 kcal"),
        "EU label: energy in 100 g": ("820 kJ / 198 kcal", "843 kJ / 203 kcal"),
        "EU label: carbohydrate, fibre left out": ("10 g", "13 g"),
        "EU label: carbohydrate, fibre left out in 100 g": ("4.3 g", "5.7 g"),
        "net carbs at most 12 g": ("kept", "not kept")}
    assert found["net carbs"]["by"] == "+3.00" and found["ratio"]["by"] == "-0.2"
    assert {food["food"] for one in found.values() for food in one["foods"]} == {"turnip"}
    assert "turnip: total carbs 8 -> 11" in done.stdout and "curd" not in done.stdout.replace("Curd and turnip", "")


def test_a_change_that_no_published_figure_shows_is_none(published: Path, tmp_path: Path) -> None:
    assert run("recheck", published, "--foods", changed(tmp_path, "oil", potassium_mg=3)).exit_code == 0
    assert run("recheck", published, "--foods", changed(tmp_path, "oil", saturated_g=10.001)).exit_code == 0


def test_an_allergen_is_a_claim(published: Path, tmp_path: Path) -> None:
    found = moved(published, "--foods", changed(tmp_path, "oil", allergens="nuts"))
    assert list(found) == ["allergens"] and found["allergens"]["now"] == "milk, nuts"


def test_the_tables_are_named_with_their_hash(published: Path, tmp_path: Path) -> None:
    import hashlib

    data = json.loads(published.read_text(encoding="utf-8"))
    [dish] = data["dishes"]
    own = {"id": "own.csv", "version": None, "sha256": hashlib.sha256((tmp_path / "own.csv").read_bytes()).hexdigest()}
    assert dish["tables"][0]["id"] == "foods" and dish["tables"][1] == own
    assert dish["weights"] == {"curd": 200, "oil": 60, "turnip": 200}
    assert dish["recipe"]["sha256"] == hashlib.sha256(dish["recipe"]["text"].encode()).hexdigest()
    for command in (("check",), ("solve",), ("shopping",), ("portions",)):
        told = json.loads(run(*command, tmp_path / "dish.toml", "--format", "json").stdout)
        assert told["tables"] == dish["tables"], command


def test_a_record_that_was_changed_is_refused(published: Path) -> None:
    text = published.read_text(encoding="utf-8")
    for old, new, words in (('"record": 1', '"record": 2', "expected a record of what was published"),
                            ("grams = 200", "grams = 210", "is not the recipe that was recorded"),
                            ('"published": [', '"publishd": [', "expected a dish as `card --record`"),
                            ("{", "[", "is not JSON")):
        published.write_text(text.replace(old, new, 1), encoding="utf-8")
        done = run("recheck", published)
        assert done.exit_code == 1 and words in done.stderr and done.stdout == "", (old, done.output)


def test_a_food_that_is_gone_cannot_be_reckoned(published: Path, tmp_path: Path) -> None:
    (tmp_path / "own.csv").write_text((tmp_path / "own.csv").read_text().replace("turnip", "swede"), encoding="utf-8")
    done = run("recheck", published)
    assert done.exit_code == 1 and "'turnip'; is not in the composition table" in done.stderr


@pytest.mark.parametrize("name", ["celeriac-gratin", "mascarpone-slice", "onion-tart"])
@pytest.mark.parametrize("options", [(), ("--exact",), ("--guaranteed",)])
def test_what_is_recorded_holds(name: str, options: tuple[str, ...], tmp_path: Path) -> None:
    texts = []
    for copy in ("a", "b"):
        record = tmp_path / f"{copy}.json"
        done = run("card", EXAMPLES / f"{name}.toml", *options, "--ratio", "1.5", "--label", "us", "--record", record)
        assert done.exit_code in (0, 3), done.output
        if done.exit_code:
            pytest.skip("no weights keep these intervals")
        texts.append(record.read_bytes())
        assert run("recheck", record).exit_code == 0
    assert texts[0] == texts[1], "same input, same bytes"


def test_an_allergen_that_comes_is_told_whole(published: Path, tmp_path: Path) -> None:
    """On 80 columns too: what the figure is called, what it was, every word of what it is now, and of which food."""
    new = changed(tmp_path, "oil", allergens="soybeans; sesame; mustard; unknown", sodium_mg="")
    told = run("recheck", published, "--foods", new)
    words = " ".join(told.output.split())
    assert told.exit_code == 3 and "EU label: salt" in words and "allergens" in words.partition("Moved by")[0]
    assert "read the label" in words.partition("Moved by")[0]
    assert "oil: allergens none known -> " in words
    assert max(map(len, told.output.splitlines())) <= 80
