"""Changes of a recipe file: the one value, and everything else as it was written."""

from __future__ import annotations

import difflib
import random
import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
import tomlkit

from ratio_solver import BadInput, Recipe, load_foods, recipe_from
from ratio_solver.dish.constraints import limits_of
from ratio_solver.page.edits import (
    Change,
    bounds_set,
    edited,
    food_added,
    food_swapped,
    known_values,
    limit_moved,
    parse_ahead,
    target_moved,
)
from ratio_solver.recipe.read import recipe_of_text
from ratio_solver.tools.swap.compute import swapped
from tests.page.conftest import OWN, ROOT

FOODS = load_foods(OWN)
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))

ODD = '''# The dish of the house.
title = 'Mash'   # as on the board
servings=4
keep_weight = 0.25

[targets]
"ratio" = "2:1"   # at least
net_carbs = 11.50
energy = { min = 200,max=900 }  # kcal
salt = {max = 3}
fat = {min = "55.5 % of energy"}   # of the energy
protein = {min = "5 %  of energy", max = 80}

[[ingredients]]
food = "celeriac, raw"   # peeled
grams = 4_00
min = 300.0
max = 450

  [[ingredients]]
  label = "butter"
  food = "butter, salted"
  grams = 40
  min = 0
  max = 2e2

[[ingredients]]
food = "egg, whole, raw"
measure = "2 large"
min = 50
max = 150
[[proportions]]
of = ["butter", "egg, whole, raw"]
to = "celeriac, raw"
max = 0.90
[[proportions]]
of = [ "butter",  "egg, whole, raw" ]
to = "celeriac, raw"
max = 0.8
[[choose]]
from = ["butter", "egg, whole, raw"]
at_most = 2
# the end
'''
"""A file in many spellings."""


def read(text: str) -> Recipe:
    return recipe_of_text(text, FOODS, "odd", ROOT / "examples")


def changed_lines(before: str, after: str) -> list[str]:
    return [line for line in difflib.ndiff(before.split("\n"), after.split("\n")) if line[:1] in "+-"]


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("place, value, lines", [
    (("servings",), 6, ["- servings=4", "+ servings=6"]),
    (("ingredients", 0, "max"), 440, ["- max = 450", "+ max = 440"]),
    (("ingredients", 0, "grams"), 390.5, ["- grams = 4_00", "+ grams = 390.5"]),
    (("ingredients", 0, "grams"), 400, []),
    (("ingredients", 0, "min"), 300, []),
    (("ingredients", 1, "max"), 150, ["-   max = 2e2", "+   max = 150"]),
    (("targets", "energy", "max"), 800,
     ["- energy = { min = 200,max=900 }  # kcal", "+ energy = { min = 200,max=800 }  # kcal"]),
    (("targets", "ratio"), 1.9, ['- "ratio" = "2:1"   # at least', '+ "ratio" = 1.9   # at least']),
    (("targets", "net_carbs"), 12, ["- net_carbs = 11.50", "+ net_carbs = 12"]),
    (("choose", 0, "at_most"), 1, ["- at_most = 2", "+ at_most = 1"]),
])
def test_one_value_changes_one_line(place: tuple[str | int, ...], value: float, lines: list[str], ending: str) -> None:
    text = ODD.replace("\n", ending)
    after = edited(text, [Change(place, value)])
    assert [line.rstrip("\r") for line in changed_lines(text, after)] == lines
    assert after.count("\r\n") == text.count("\r\n")


def test_every_limit_of_a_file_can_be_moved() -> None:
    """Each limit to another bound: read back, that limit alone has it. The reader is the one of every command."""
    recipe = read(ODD)
    for number, limit in enumerate(limits_of(recipe)):
        to = limit.bound * Fraction(3, 4) if limit.kind != "choose" else Fraction(1)
        after = read(edited(ODD, limit_moved(limit, to, tomllib.loads(ODD), recipe, FOODS.columns)))
        bounds = [one.bound for one in limits_of(after)]
        assert bounds[number] == to
        assert [one for k, one in enumerate(bounds) if k != number] == \
            [one.bound for k, one in enumerate(limits_of(recipe)) if k != number]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_every_limit_of_the_examples_can_be_moved(path: Path) -> None:
    text = path.read_text("utf-8")
    recipe = recipe_of_text(text, FOODS, path.name, path.parent)
    for number, limit in enumerate(limits_of(recipe)):
        to = limit.bound / 2 if limit.bound and limit.kind != "choose" else limit.bound + 1
        if limit.kind == "ingredient" and limit.sense == "<=":
            to = limit.bound + 1
        try:
            new = edited(text, limit_moved(limit, to, tomllib.loads(text), recipe, FOODS.columns))
            after = recipe_of_text(new, FOODS, path.name, path.parent)
        except BadInput as bad:  # a most below its least
            assert "expected" in str(bad)
            continue
        assert limits_of(after)[number].bound == to
        assert len(changed_lines(text, new)) <= 2


def test_a_target_that_is_not_there_is_set() -> None:
    for text in (ODD.replace('"ratio" = "2:1"   # at least\n', ""), ODD[:ODD.index("[targets]")] +
                 ODD[ODD.index("[[ingredients]]"):]):
        after = edited(text, target_moved("ratio", "min", Fraction(7, 4), tomllib.loads(text), FOODS.columns))
        target = read(after).target("ratio")
        assert target is not None and target.minimum == 1.75
        assert not [line for line in changed_lines(text, after) if line[0] == "-" and line.strip() != "-"]


def test_the_other_end_of_a_target_is_set_beside_the_first() -> None:
    after = edited(ODD, target_moved("ratio", "max", Fraction(3), tomllib.loads(ODD), FOODS.columns))
    target = read(after).target("ratio")
    assert target is not None and (target.minimum, target.maximum) == (2.0, 3.0)


def test_fixed_and_let_move_again() -> None:
    fixed = edited(ODD, bounds_set(0, None, None))
    assert not read(fixed).ingredients[0].adjustable
    free = edited(fixed, bounds_set(0, 0.0, 400.0))
    assert (read(free).ingredients[0].minimum, read(free).ingredients[0].maximum) == (0, 400)
    assert "# peeled" in free


def test_a_food_is_added_at_the_end_of_the_ingredients() -> None:
    food = FOODS.get("olive oil")
    assert food
    recipe = read(ODD)
    after = edited(ODD, food_added(food, Fraction(60), recipe, tomllib.loads(ODD)))
    item = read(after).ingredients[-1]
    assert (item.label, item.start, item.minimum, item.maximum) == ("olive oil", 0, 0, 60)
    assert not [line for line in changed_lines(ODD, after) if line[0] == "-"]
    twice = edited(after, food_added(food, Fraction(30), read(after), tomllib.loads(after)))
    assert read(twice).ingredients[-1].label == "olive oil, added"


@pytest.mark.parametrize("place, name", [(0, "kohlrabi, raw"), (1, "ghee (butter oil, anhydrous)"), (2, "tofu, firm")])
def test_a_swap_reads_back_as_the_recipe_that_swap_makes(place: int, name: str) -> None:
    recipe, food = read(ODD), FOODS.find(name)
    assert food, name
    wanted, _ = swapped(recipe, FOODS, [(recipe.ingredients[place].label, food.id)])
    after = edited(ODD, food_swapped(place, recipe, wanted.ingredients[place], tomllib.loads(ODD)))
    found = read(after)
    assert found.ingredients == wanted.ingredients
    assert [(share.of, share.to, share.maximum) for share in found.proportions] == \
        [(share.of, share.to, share.maximum) for share in wanted.proportions]
    assert found.chooses == wanted.chooses
    assert "# the end" in after and "# The dish of the house." in after


def test_what_would_change_more_is_not_changed() -> None:
    with pytest.raises(BadInput, match="change it under Text"):
        edited(ODD, [Change(("ingredients", 9, "max"), 1)])
    with pytest.raises(BadInput, match="change it under Text"):
        edited("servings = 4\n", [Change(("servings", "max"), 1)])


def test_a_text_that_would_read_back_otherwise_is_not_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Were the writer of TOML to touch another value: nothing is changed."""
    real = tomlkit.parse
    monkeypatch.setattr(tomlkit, "parse", lambda text: real(text.replace("max = 450", "max = 451")))
    with pytest.raises(BadInput, match="change it under Text"):
        edited(ODD + "# once\n", [Change(("servings",), 6)])


def test_many_changes_of_the_examples_leave_the_rest() -> None:
    """Seeded changes one after the other: comments stay, and the values are those that were changed."""
    drawn = random.Random(14)
    for path in EXAMPLES:
        text = path.read_text("utf-8")
        comments = [line.partition("#")[2] for line in text.splitlines() if "#" in line]
        assert tomlkit.parse(text).as_string() == text
        table = tomllib.loads(text)
        for _ in range(20):
            place = drawn.randrange(len(table["ingredients"]))
            key = drawn.choice([key for key in ("grams", "min", "max") if key in table["ingredients"][place]])
            value = drawn.choice([drawn.randrange(1000), drawn.randrange(1000) / 8])
            table["ingredients"][place][key] = value
            text = edited(text, [Change(("ingredients", place, key), value)])
        assert tomllib.loads(text) == table
        assert [line.partition("#")[2] for line in text.splitlines() if "#" in line] == comments
        assert recipe_from  # the file is still read by the reader of every command


def test_values_that_were_given_out_do_not_change_with_the_text() -> None:
    """A solve that waits for its turn is sent the values of its own text, whatever is changed meanwhile."""
    text = (ROOT / "examples" / "celeriac-gratin.toml").read_text("utf-8")
    parse_ahead(text)
    given = {text: known_values(text)}
    for grams in (500, 480, 470):
        text = edited(text, [Change(("ingredients", 4, "max"), grams)])
        given[text] = known_values(text)
    assert len(given) == 4
    assert all(values == tomllib.loads(of) for of, values in given.items())
    assert known_values("title = 'another'") is None
