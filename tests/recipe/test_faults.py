"""Bad input: every fault at once, each with its place; nothing makes a traceback."""

from __future__ import annotations

import copy
import math
import random
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, FoodTable, check, load_foods, read_recipe, recipe_from, solve
from ratio_solver.cli import main
from tests.kitchen import dish, food, table, table_file
from tests.oracle.recipes import random_recipe, random_table, to_toml, write_table

EIGHT = """
servings = 2.5
colour = "green"
[targets]
ratio = -2
net_carb = 6
[[ingredients]]
food = "celeriak, raw"
grams = 100
[[ingredients]]
food = "butter, salted"
grams = -5
[[ingredients]]
food = "olive oil"
grams = 10
min = 20
max = 5
[[ingredients]]
food = "egg, whole, raw"
grams = 100
yield = 0
"""


def test_eight_faults_are_eight_lines(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text('title = "bad"' + EIGHT, encoding="utf-8")
    result = CliRunner().invoke(main, ["solve", str(tmp_path / "bad.toml")])
    lines = result.stderr.splitlines()
    assert result.exit_code == 1
    assert result.stdout == ""
    assert len(lines) == 8, result.stderr
    for place in ("2: servings", "3: colour", "5: targets.ratio", "6: targets.net_carb",
                  "8: ingredient 'celeriak, raw' (1st), food", "12: ingredient 'butter, salted' (2nd), grams",
                  "16: ingredient 'olive oil' (3rd), min", "21: ingredient 'egg, whole, raw' (4th), yield"):
        assert sum(f"bad.toml:{place}: " in line for line in lines) == 1, place
    assert "did you mean 'celeriac, raw'" in result.stderr
    assert "did you mean net_carbs" in result.stderr


@pytest.fixture(scope="module")
def foods(tmp_path_factory: pytest.TempPathFactory) -> FoodTable:
    return table(tmp_path_factory.mktemp("foods"), food("veg", 0.3, 1.5, 9.2, 1.8, sodium_mg=10),
                 food("oil", 100, sodium_mg="", measures="tbsp=13.5; large=50"), food("Butter", 81, 1, 1))


GOOD = dish([{"food": "veg", "grams": 100, "min": 10, "max": 200, "part": "base"}, {"food": "oil", "grams": 10}],
            targets={"ratio": 2, "net_carbs": 8}, parts={"base": {"min": 10}},
            proportions=[{"of": ["oil"], "to": "batch", "max": 0.5}], choose=[{"from": ["oil"], "at_most": 1}])


def changed(path: str, value: object) -> dict[str, Any]:
    """The good recipe with one value changed ("ingredients.0.min"); None takes the key away."""
    recipe = copy.deepcopy(GOOD)
    *inner, last = path.split(".")
    place: Any = recipe
    for key in inner:
        place = place[int(key)] if key.isdigit() else place.setdefault(key, {})
    if value is None:
        del place[last]
    else:
        place[last] = value
    return recipe


@pytest.mark.parametrize(("path", "value", "place", "word"), [
    ("title", None, "title", "name"), ("title", 7, "title", "text"), ("servings", 0, "servings", "whole number"),
    ("servings", True, "servings", "whole number"), ("servings", None, "servings", "servings"),
    ("pieces", 0, "pieces", "whole number"), ("method", "stir", "method", "list of texts"),
    ("ingredients", {}, "ingredients", "tables"), ("ingredients", [], "ingredients", "at least one"),
    ("ingredients", [3], "ingredients[1]", "table"), ("ingredients.0.food", None, "ingredients[1].food", "food"),
    ("ingredients.0.food", "vegg", "ingredients[1].food", "did you mean 'veg'"),
    ("ingredients.0.grams", None, "ingredients[1].grams", "weight of veg"),
    ("ingredients.0.grams", math.nan, "ingredients[1].grams", "nan"),
    ("ingredients.0.grams", math.inf, "ingredients[1].grams", "inf"),
    ("ingredients.0.grams", "100", "ingredients[1].grams", "'100'"),
    ("ingredients.0.grams", 10**400, "ingredients[1].grams", "weight"),
    ("ingredients.0.min", None, "ingredients[1].min", "both make veg adjustable"),
    ("ingredients.0.min", 300, "ingredients[1].min", "at most the max"),
    ("ingredients.1.label", "veg", "ingredients[2].label", "unique"),
    ("ingredients.1.label", "batch", "ingredients[2].label", "part or 'batch'"),
    ("ingredients.1.measure", "2 cloves", "ingredients[2].measure", "tbsp, large"),
    ("ingredients.1.measure", "2 tbsp", "ingredients[2].measure", "not both"),
    ("ingredients.0.keep", 0, "ingredients[1].keep", "0.001"),
    ("ingredients.0.step", 0, "ingredients[1].step", "above 0"),
    ("targets.ratio", "two", "targets.ratio", "2:1"), ("targets.ratio", {}, "targets.ratio", "min, max"),
    ("targets.ratio", {"min": 3, "max": 2}, "targets.ratio.min", "at most the max"),
    ("targets.protein", 18, "targets.protein", "{min"),
    ("targets.protein", {"least": 18}, "targets.protein.least", "min"),
    ("targets.sodum", {"max": 9}, "targets.sodum", "sodium"), ("targets", 3, "targets", "table"),
    ("parts.top", {"min": 5}, "parts.top", "no ingredient"), ("parts.base", {}, "parts.base", "min, max"),
    ("proportions.0.of", ["wax"], "proportions[1].of", "label"), ("proportions.0.to", 3, "proportions[1].to", "list"),
    ("choose.0.at_most", None, "choose[1].at_most", "how many"), ("choose.0.from", [], "choose[1].from", "list"),
    ("proportions.0.max", 8, "proportions[1].max", "0.08 for 8 %"),
    ("proportions.0.min", 1.5, "proportions[1].min", "0.08 for 8 %"),
    ("choose.0.at_most", 2, "choose[1].at_most", "at most 1, as many as it chooses from"),
    ("policy.ratio_formula", "nett", "policy.ratio_formula", "did you mean net"),
    ("policy.left_out", {"polyols": 2}, "policy.left_out.polyols", "0 to 1"),
    ("policy.left_out", {"xylitol": -1}, "policy.left_out.xylitol", "0 to 1"),
    ("policy.left_out", {"glycerine": 1}, "policy.left_out.glycerine", "did you mean glycerol"),
    ("policy.energy", "9/4", "policy.energy", "expected one of table, annex-xiv, us, 9/4/4"),
    ("policy.energy", 944, "policy.energy", "a text"),
    ("policy.mct_energy", 83, "policy.mct_energy", "5 to 9"),
    ("policy.mct_energy", "8.3", "policy.mct_energy", "5 to 9"),
    ("policy.unknown_as_zero", ["wax"], "policy.unknown_as_zero", "nutrients"),
])
def test_one_fault_is_named(path: str, value: object, place: str, word: str, foods: FoodTable) -> None:
    with pytest.raises(BadInput) as caught:
        recipe_from(changed(path, value), foods, "dish.toml")
    texts = [str(fault) for fault in caught.value.faults]
    assert any(text.startswith(f"dish.toml: {place}: ") and word in text for text in texts), texts


def test_of_two_limits_on_one_share_the_tighter_one_is_left(foods: FoodTable) -> None:
    twice = changed("title", "twice")
    twice["proportions"] = [{"of": ["oil"], "to": "batch", "max": 0.5, "min": 0.01},
                            {"of": ["veg"], "to": "batch", "min": 0.1},
                            {"of": ["oil"], "to": "batch", "max": 0.4}]
    recipe = recipe_from(twice, foods, "dish.toml")
    shares = [state.limit for state in check(recipe).limits if state.limit.kind == "proportion"]
    assert [(limit.name, limit.sense, float(limit.bound)) for limit in shares] == [
        ("oil in batch", ">=", 0.01), ("oil in batch", "<=", 0.4), ("veg in batch", ">=", 0.1)]


def test_a_share_beside_another_group_may_be_above_one(foods: FoodTable) -> None:
    """Of a whole it cannot; of something else twice as much may be meant, and eight times is asked about."""
    for to, share, said in (("oil", 2, False), ("oil", 8, True), ("batch", 1, False)):
        recipe = recipe_from(changed("proportions", [{"of": ["veg"], "to": to, "max": share}]), foods)
        told = [warning for warning in check(recipe).warnings if "written 0.08" in warning]
        assert bool(told) == said, (to, share)
    assert told == [] and recipe.proportions[0].maximum == 1


def test_a_choice_that_allows_all_is_told(foods: FoodTable) -> None:
    """As a cure may write it; of more than there are nothing can be meant."""
    both = recipe_from(changed("choose", [{"from": ["oil", "veg"], "at_most": 2}]), foods)
    assert "the choice of 2 from oil, veg allows them all" in check(both).warnings
    one = recipe_from(changed("choose", [{"from": ["oil", "veg"], "at_most": 1}]), foods)
    assert not [warning for warning in check(one).warnings if "choice" in warning]


def test_the_unchanged_recipe_has_no_fault(foods: FoodTable) -> None:
    assert recipe_from(GOOD, foods).servings == 1


def test_a_maximum_on_an_unknown_figure_is_a_fault_unless_the_policy_counts_it_as_none(foods: FoodTable) -> None:
    written = dish([{"food": "veg", "grams": 100}, {"food": "oil", "grams": 10}], targets={"sodium": {"max": 300}})
    with pytest.raises(BadInput, match=r"ingredients\[2\].*oil.*sodium_mg"):
        check(recipe_from(written, foods))
    written["policy"] = {"unknown_as_zero": ["sodium"]}
    assert check(recipe_from(written, foods)).kept


@pytest.mark.parametrize(("row", "place", "word"), [
    (food("x", 60, 30, 20), "line 2, fat_g", "100.5"), (food("x", 0, 0, 5, 6), "line 2, fibre_g", "at most 5"),
    (food("x", -1), "line 2, fat_g", "0 to 100"), (food("x", "nan"), "line 2, fat_g", "number"),
    (food("x", ""), "line 2, fat_g", "figure"), (food("x", basis="other"), "line 2, carb_basis", "by_difference"),
    (food("", 1), "line 2, food", "name"), (food("x", 1, measures="tbsp"), "line 2, measures", "name=grams"),
    (food("x", 0, 0, 9, 1, polyols_g=9), "line 2, polyols_g", "at most 8"),
    (food("x", 5, fat_g_low=6), "line 2, fat_g_low", "low end"),
    (food("x", 0, 0, 50, 51, "available", water_g=1), "line 2, fat_g", "fibre_g"),
])
def test_a_bad_row_is_named(row: dict[str, str], place: str, word: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        table(tmp_path, row)
    texts = [str(fault) for fault in caught.value.faults]
    assert any(f": {place}: " in text and word in text for text in texts), texts


def test_names_and_ids_are_unique(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        table(tmp_path, food("x", 1), food("X", 2), food("y", 3) | {"id": "own:x"})
    assert [fault.place for fault in caught.value.faults] == ["line 3, food", "line 3, id", "line 4, id"]


def test_semicolons_and_decimal_commas_are_read_as_such(tmp_path: Path) -> None:
    path = tmp_path / "eu.csv"
    text = "\ufefffood;id;carb_basis;fat_g;protein_g;carbs_g;fibre_g\nOil;;available;99,5;0;0,5;0\n"
    path.write_text(text, encoding="utf-8")
    [oil] = load_foods(path, bundled=False)
    assert (oil.amounts["fat_g"], oil.amounts["carbs_g"]) == (99.5, 0.5)


def test_a_later_table_wins(tmp_path: Path) -> None:
    foods = load_foods(table_file(tmp_path, food("butter, salted", 80)))
    assert foods.get("butter, salted").amounts["fat_g"] == 80
    assert foods.get("ndb:01001") is None


def mutated(text: str, rng: random.Random) -> bytes:
    """The text with a few bytes, lines or numbers spoilt."""
    data = bytearray(text.encode())
    for _ in range(rng.randint(1, 4)):
        kind = rng.randrange(5)
        if kind == 0 and data:
            data[rng.randrange(len(data))] = rng.randrange(256)
        elif kind == 1:
            lines = data.split(b"\n")
            del lines[rng.randrange(len(lines))]
            data = bytearray(b"\n".join(lines))
        else:
            words = [b"nan", b"inf", b"-7", b"'x'", b"1e400", b"true", b"", b"[]", b"0", b"99999999999", b"\x00"]
            places = [i for i, byte in enumerate(data) if chr(byte).isdigit()]
            if places:
                at = rng.choice(places)
                data[at:at + 1] = rng.choice(words)
    return bytes(data)


@pytest.mark.parametrize("batch", range(20))
def test_mutated_files_make_no_traceback(batch: int, tmp_path: Path) -> None:
    """2,000 recipe and table files in all, bytes flipped, lines dropped, numbers spoilt: faults, or an answer."""
    rng = random.Random(f"mutation {batch}")
    rows = random_table(batch, 24)
    write_table(tmp_path / "good.csv", rows)
    good_foods = load_foods(tmp_path / "good.csv", bundled=False)
    recipe_text, table_text = to_toml(random_recipe(rng, rows)), (tmp_path / "good.csv").read_text()
    outcomes = {"faults": 0, "read": 0}
    for number in range(100):
        spoils_table = number % 2 == 1
        path = tmp_path / ("bad.csv" if spoils_table else "bad.toml")
        path.write_bytes(mutated(table_text if spoils_table else recipe_text, rng))
        try:
            if spoils_table:
                load_foods(path, bundled=False)
            else:
                solve(read_recipe(path, good_foods))
            outcomes["read"] += 1
        except BadInput as bad:
            assert bad.faults and all(fault.expected for fault in bad.faults)
            outcomes["faults"] += 1
    assert outcomes["faults"] > 20


def test_a_misspelt_ingredient_does_not_put_the_blame_on_groups(foods: FoodTable) -> None:
    """Four true faults; the part, the proportion and the choice that name the faulty ingredients are right."""
    written = {
        "title": "a dish", "servings": 2,
        "ingredients": [
            {"food": "Buter", "grams": 10, "part": "sauce"},
            {"foood": "oil", "grams": 10},
            "no table",
            {"food": "veg", "grams": 10, "min": 5, "part": "base"},
            {"food": "Butter", "label": "sauce", "grams": 1},
        ],
        "parts": {"sauce": {"max": 20}, "base": {"max": 20}},
        "proportions": [{"of": ["Buter", "oil"], "to": "base", "max": 0.5}],
        "choose": [{"from": ["butter", "oil"], "at_most": 1}],
    }
    with pytest.raises(BadInput) as caught:
        recipe_from(written, foods, "dish.toml")
    assert [fault.place for fault in caught.value.faults] == [
        "ingredients[1].food", "ingredients[2].foood", "ingredients[2].food", "ingredients[3]", "ingredients[4].max",
        "ingredients[5].label"]


def test_a_decimal_comma_is_told(foods: FoodTable, tmp_path: Path) -> None:
    path = tmp_path / "dish.toml"
    path.write_text('title = "x"\nservings = 2\n[[ingredients]]\nfood = "veg"\ngrams = 1000,5\n', "utf-8")
    with pytest.raises(BadInput, match=r"decimals take a point: 1000\.5"):
        read_recipe(path, foods)
