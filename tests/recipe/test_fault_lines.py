"""Faults of a recipe file name the line and the ingredient; files of another kind are named for what they are."""

from __future__ import annotations

import random
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ratio_solver import load_foods, read_recipe
from ratio_solver.cli import main
from ratio_solver.errors import BadInput
from ratio_solver.recipe.reader import lines_of
from tests.kitchen import MASH

FOODS = load_foods()


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, arguments)


def faults(folder: Path, text: str) -> list[str]:
    path = folder / "dish.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as bad:
        read_recipe(path, FOODS)
    return [str(fault).replace(str(folder) + "/", "") for fault in bad.value.faults]


def test_a_fault_names_the_line_the_ingredient_and_which_it_is(tmp_path: Path) -> None:
    text = MASH.replace("min = 300", "min = 900").replace("grams = 40\n", 'grams = "forty"\n')
    assert faults(tmp_path, text) == [
        "dish.toml:9: ingredient 'celeriac, raw' (1st), min: got 900.0; expected at most the max, 450 g",
        "dish.toml:13: ingredient 'butter, salted' (2nd), grams: got 'forty'; expected a weight in g, 0 to 1,000,000"]


def test_what_is_missing_is_told_at_its_table(tmp_path: Path) -> None:
    """The line of the header, as the key has none."""
    assert faults(tmp_path, MASH.replace("grams = 40\n", ""))[0].startswith(
        "dish.toml:11: ingredient 'butter, salted' (2nd), grams: expected the weight")


def test_one_fault_for_one_cause(tmp_path: Path) -> None:
    """An unknown food has no measures, and is not blamed for that."""
    text = MASH.replace('food = "butter, salted"\ngrams = 40', 'food = "buter"\nmeasure = "2 tbsp"')
    assert len(faults(tmp_path, text)) == 1 and "did you mean" in faults(tmp_path, text)[0]


def test_long_texts_lists_and_inline_tables_do_not_shift_the_lines() -> None:
    text = ('title = """\n[[ingredients]]\nfood = "no"\n"""\nmethod = [\n  "a = 1", # ] "\n  \'b\',\n]\n'
            "[targets]\nratio = {min = 2, max = 3}\n\"net carbs\" = 5\n[[ingredients]]\nfood = 'x' # [y]\n"
            "[parts.\"the base\"]\nmin = 3\n[[ingredients]]\ngrams.of = 1\n")
    tomllib.loads(text)
    assert lines_of(text) == {
        "title": 1, "method": 5, "targets": 9, "targets.ratio": 10, "targets.net carbs": 11, "ingredients[1]": 12,
        "ingredients[1].food": 13, "parts.the base": 14, "parts.the base.min": 15, "ingredients[2]": 16,
        "ingredients[2].grams": 17, "ingredients[2].grams.of": 17}


def test_lines_of_drawn_files_are_those_of_their_keys() -> None:
    """Files of which each key's value is its own line number: the parser is Python's own, the lines ours."""
    draw = random.Random(5)
    for _ in range(200):
        lines: list[str] = []
        tables = 0
        for key in range(draw.randint(1, 25)):
            kind = draw.choice(("key", "key", "table", "blank", "long", "list"))
            if kind == "table":
                tables += 1
                lines.append("[[ingredients]]" if draw.random() < 0.6 else f"[t{tables}]")
            elif kind == "blank":
                lines.append(draw.choice(("", "# k = 1", "   ", "# \"\"\" [")))
            elif kind == "long":
                lines += [f'l{key} = """', "z = 1", "[no]", '"""']
            elif kind == "list":
                lines += [f"m{key} = [", '  "]", # " [', "  'x = 1', # [", "]"]
            else:
                lines.append(f"k{key} = {len(lines) + 1}")
        text = "\n".join(lines)
        found = lines_of(text)
        for place, value in _numbers(tomllib.loads(text), ""):
            assert found[place] == value, (place, text)


def _numbers(value: object, place: str) -> list[tuple[str, int]]:
    if isinstance(value, dict):
        return [one for key, inner in value.items() for one in _numbers(inner, f"{place}.{key}" if place else key)]
    if isinstance(value, list):
        return [one for number, inner in enumerate(value, 1) for one in _numbers(inner, f"{place}[{number}]")]
    return [(place, value)] if isinstance(value, int) else []


@pytest.mark.parametrize(("name", "data", "said"), [
    ("photo.toml", b"\x89PNG\r\n\x1a\n\0\0", "this is a PNG picture"),
    ("photo.toml", b"\xff\xd8\xff\xe0", "a JPEG picture"),
    ("dish.toml", b"%PDF-1.7\n", "this is a PDF"),
    ("dish.toml", b"<!DOCTYPE html>\n<html>", "a web page: ratio-solver draft"),
    ("dish.toml", b"\xef\xbb\xbf\n<HTML lang=de>", "a web page"), ("dish.toml", "title".encode("utf-16"), "UTF-16"),
    ("dish.toml", b"PK\x03\x04xl/workbook.xml", "a spreadsheet: save it as CSV UTF-8"),
    ("dish.toml", b"PK\x03\x04word/document.xml", "a document"),
    ("dish.toml", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old office"),
])
def test_files_of_another_kind_are_named(name: str, data: bytes, said: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    for arguments in (("check", str(path)), ("foods", "leek", "--foods", str(path))):
        done = run(*arguments)
        assert done.exit_code == 1 and said in done.stderr and len(done.stderr.splitlines()) == 1


@pytest.mark.parametrize(("written", "column", "minimum", "maximum"), [
    ("kcal = {max = 500}", "energy_kcal", None, 500), ("calories = {max = 500}", "energy_kcal", None, 500),
    ("\"saturated fat\" = {max = 9}", "saturated_g", None, 9), ("saturates = {max = 9}", "saturated_g", None, 9),
    ("fiber = {min = 3}", "fibre_g", 3, None), ("sugar = {max = 3}", "sugars_g", None, 3),
    ("salt = {min = 0.5, max = 1.5}", "sodium_mg", 200, 600), ("salt_g = {max = 2}", "sodium_mg", None, 800),
])
def test_targets_in_a_cook_s_words(written: str, column: str, minimum: float | None, maximum: float | None,
                                   tmp_path: Path) -> None:
    """1 g of salt is 400 mg of sodium (Regulation (EU) 1169/2011, Annex I)."""
    path = tmp_path / "dish.toml"
    path.write_text(MASH.replace("[[ingredients]]", f"{written}\n[[ingredients]]", 1), encoding="utf-8")
    target = read_recipe(path, FOODS).target(column)
    assert target is not None and (target.minimum, target.maximum) == (minimum, maximum)


def test_salt_on_the_command_line_is_sodium(tmp_path: Path) -> None:
    path = tmp_path / "dish.toml"
    path.write_text(MASH, encoding="utf-8")
    by_salt, by_sodium = (run("check", str(path), "--target", target).stdout for target in ("salt<=1", "sodium<=400"))
    assert by_salt == by_sodium and "400 mg" in by_salt


def test_a_target_that_is_no_nutrient_points_to_its_key(tmp_path: Path) -> None:
    said = faults(tmp_path, MASH.replace("ratio = 2\n", "ratio = 2\ngrams = {max = 200}\n"))
    assert said[0].startswith("dish.toml:5: targets.grams: is not a nutrient") and "weight = {" in said[0]
