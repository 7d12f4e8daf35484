"""Foods that somebody has made of others: what is in them stands on their label, and the table does not say "none".

By kind of food and not by row: the release's own groups where it is here, and what the names say everywhere.
"""

from __future__ import annotations

import csv
import random
import re
from pathlib import Path

import pytest

from ratio_solver import check, load_foods, recipe_from
from ratio_solver.dish.notices import allergen_words, allergens_of_food, allergens_unknown
from ratio_solver.foods.food import Food
from tests.builders.test_composition import release_folder
from tests.kitchen import dish, food, table

FOODS = load_foods()

KINDS = {
    "cured meat": r"ham|bacon|salt pork|lardons|prosciutto|pancetta|pastrami|corned|cured|jerky",
    "sausage": r"\w*sausage|bratwurst|chorizo|frankfurter|mortadella|bologna|pepperoni|salami|headcheese|pate|"
               r"merguez|chipolata|black pudding",
    "fried or kept in fat that has no name": r"(pan-|stir-)?fried|sauteed|in oil|scrambled|omelette|bacon grease|"
                                             r"french fries|pork (skins|rind crumbs)",
    "smoked, pickled or salted": r"smoked|kippered|pickled|salt cod|capers",
    "surimi": r"surimi|crab sticks",
    "sauce, dip or dressing": r"sauce|salsa( verde)?|ketchup|mayonnaise|dressing|vinaigrette|pesto|hummus|tahini sauce|"
                              r"mustard, prepared|horseradish|coconut aminos|hoisin",
    "pickles and relish": r"pickles?|relish",
    "stock": r"stock|broth",
    "bread, cake and cracker": r"bread|breadcrumbs|crispbread|bagel|bun|croissant|muffin|biscuit|croutons|tortilla|"
                               r"taco shell|puff pastry|phyllo|pie crust|wonton wrappers|crackers|gingersnaps|"
                               r"ladyfingers|short(bread|crust pastry)|gnocchi|cornbread|(sponge )?cake|pancakes?|"
                               r"waffles?",
    "spice blend": r"chili powder|curry powder|pumpkin pie spice|garam masala|five spice",
    "leavening that is a mix": r"baking powder|self-raising",
    "chocolate": r"chocolate|hazelnut chocolate spread",
    "margarine and light butter": r"margarine|shortening|butter, light",
    "dairy with more in it": r"whipped cream|ice cream|dulce de leche|processed cheese|reduced fat",
    "prepared dish": r"au gratin|baked beans|refried beans|potato flakes|pizza|lasagna|soup",
    "sweet spread": r"jam|marmalade|apple butter|marshmallows|almond paste|peanut butter",
    "powder with a carrier or of an unnamed source": r"tabletop|with carrier|dry mix|whey protein powder|gelatin|"
                                                     r"collagen",
    "drink made of nuts or beans": r"(soy|almond) milk",
    "ferment of beans and grain": r"miso",
}
"""Kind of food to what its name has as a whole word."""

PLAIN = (
    r"wheat flour, (cake|bread|type 55 \(bread\))",
    r"egg, fried without fat",
    r"cocoa powder\b.*",
    r"soy sauce \(shoyu\)",  # the release names what it is made of: soy and wheat
    r"rye flour, light",
    r"egg, .*dried.*",
)
"""Names that fit a kind and are of one plain food."""

GROUPS = ("0600", "0700", "1800", "1900", "2100", "2200", "2500", "3500", "3600")
"""Of the release (FD_GROUP): soups, sauces and gravies; sausages and luncheon meats; baked products; sweets; fast
foods; meals, entrees and side dishes; snacks; American Indian foods; restaurant foods."""

PLAIN_OF_GROUPS = re.compile(
    r"baking soda|cream of tartar|yeast, .*|guar gum .*|(sugar|maple sugar|fructose)\b(?!, powdered).*|honey|"
    r"(maple|agave|malt|corn) syrup.*|molasses|cocoa powder.*|sugar, raw.*|bone marrow, raw.*")
"""Pure substances, syrups and cocoa among the sweets, leavenings of one thing among the baked products, raw marrow."""


def kind_of(name: str) -> str | None:
    if any(re.fullmatch(plain, name) for plain in PLAIN):
        return None
    return next((kind for kind, words in KINDS.items() if re.search(rf"(?<![\w-])({words})(?![\w-])", name)), None)


COMPOSITE = [one for one in FOODS if kind_of(one.name)]
EUROPEAN = [one for one in load_foods("europe") if one.id.startswith("ciqual:")]


@pytest.mark.parametrize("kind", KINDS)
def test_no_food_of_a_kind_is_called_free_of_other_allergens(kind: str) -> None:
    assert [one.name for one in (*COMPOSITE, *EUROPEAN)
            if kind_of(one.name) == kind and not one.allergens_unknown] == []


def test_kinds_are_those_of_the_table() -> None:
    """Nearly every kind has foods in it, or the test says nothing of it."""
    found = {kind_of(one.name) for one in COMPOSITE}
    assert found == set(KINDS) and len(COMPOSITE) >= 150


def groups() -> dict[str, tuple[str, str]]:
    """Food number of the release to its group and description."""
    folder = release_folder()
    if folder is None:
        pytest.skip("the release is not here: name its folder in SR28_DIR to look at its groups")
    lines = (folder / "FOOD_DES.txt").read_text(encoding="cp1252").splitlines()
    return {fields[0]: (fields[1], fields[2]) for line in lines
            if (fields := [part.strip("~") for part in line.split("^")])}


def test_no_food_of_a_group_of_prepared_foods_is_called_free_of_other_allergens() -> None:
    of, looked_at = groups(), 0
    for one in FOODS:
        group, described = of.get(one.id.removeprefix("ndb:"), ("", ""))
        prepared = group in GROUPS and not PLAIN_OF_GROUPS.fullmatch(one.name)
        made = re.search(r"\b(cured|smoked|pickled|kippered|fried|breaded|home-prepared from recipe|home recipe|"
                         r"homemade|canned in oil|packed in oil)\b", described.lower())
        if prepared or made:
            looked_at += 1
            assert one.allergens_unknown, (one.name, described)
    assert looked_at >= 100


def test_a_hundred_composite_foods_drawn_by_seed_are_never_none_known(tmp_path: Path) -> None:
    """Each alone in a dish, in the words that every report takes; those that are known are told beside."""
    for one in random.Random(9).sample(COMPOSITE, 100):
        recipe = recipe_from(dish([{"food": one.name, "grams": 100}]), FOODS)
        found = check(recipe)
        said = allergen_words(found.allergens, allergens_unknown(recipe, tuple(w.grams for w in found.weights)))
        assert said.endswith(f"not known for {one.name}: read the label") and "none known" not in said
        assert all(allergen in said for allergen in one.allergens or ())
        assert "none known" not in allergens_of_food(one) and "read the label" in allergens_of_food(one)
        assert any(f"not known for {one.name}: read the label" in warning for warning in found.warnings)


@pytest.mark.parametrize(("name", "known"), [
    ("white sauce, home recipe", "gluten, milk"), ("pesto", "milk, nuts"), ("surimi", "eggs, fish, gluten, soybeans"),
    ("bread, egg", "eggs, gluten, milk"), ("worcestershire sauce", "fish, gluten"), ("margarine, stick, 80 % fat",
                                                                                    "milk, soybeans"),
])
def test_what_is_known_of_a_composite_food_is_still_told(name: str, known: str) -> None:
    held = FOODS.get(name)
    assert held is not None and allergens_of_food(held) == f"{known}; others not known: read the label"


@pytest.mark.parametrize("name", [
    "lactitol",  # made of milk, exempt in Annex II of Regulation (EU) 1169/2011
    "olive oil", "lard", "chicken breast, skinless, roasted", "beef, ground, 20 % fat, crumbles, pan-browned",
    "celeriac, boiled", "carrots, raw", "salt", "baking soda", "cocoa powder", "honey", "paprika", "tomatoes, canned",
])
def test_plain_foods_stay_as_they_are(name: str) -> None:
    held = FOODS.get(name)
    assert held is not None and not held.allergens_unknown


def test_most_of_the_table_is_plain() -> None:
    """Not known of everything would be as useless as none known: raw vegetables, meat and fruit are known."""
    plain = [one for one in FOODS if one.role in ("vegetable", "fruit", "herb", "mushroom", "grain", "nut", "seed")]
    assert sum(one.allergens_unknown for one in plain) <= len(plain) / 20
    assert not any(one.allergens_unknown for one in FOODS if one.name.endswith(", raw")
                   and not kind_of(one.name))


def cell(folder: Path, allergens: str) -> Food:
    held = table(folder, food("mix", 10, allergens=allergens)).get("mix")
    assert held is not None
    return held


@pytest.mark.parametrize(("written", "allergens", "complete"), [
    ("", None, False), ("unknown", None, False), ("none", (), True), ("milk; gluten", ("milk", "gluten"), True),
    ("Milk;Unknown", ("milk",), False),
])
def test_the_cell(written: str, allergens: tuple[str, ...] | None, complete: bool, tmp_path: Path) -> None:
    held = cell(tmp_path, written)
    assert (held.allergens, held.allergens_unknown) == (allergens, not complete)


def test_the_selection_says_no_more_than_the_table() -> None:
    """A cell of the table is the selection's: none, words of Annex II, and unknown at the end."""
    with (Path(__file__).resolve().parents[2] / "data" / "selection.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            held = FOODS.get(row["id"])
            assert held is not None
            assert row["allergens"] == (";".join((*(held.allergens or ()), *(["unknown"] if held.allergens_unknown and
                                                                            held.allergens else []))) or
                                        ("" if held.allergens is None else "none"))
