"""Nothing is offered of which a serving would hold more than a person may eat."""

from __future__ import annotations

import csv
import json
import random
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from itertools import combinations
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from ratio_solver import FoodTable, Impossible, Recipe, add_fat, adjust, recipe_from, solve, try_all
from ratio_solver.cli import main
from ratio_solver.dish.most import BEYOND, KEEPS
from ratio_solver.foods.food import Food
from ratio_solver.recipe.model import Ingredient, Target
from tests.kitchen import dish, food, table
from tests.oracle.recipes import to_toml

TABLE = {row["food"]: row for row in csv.DictReader(
    (Path(__file__).parents[2] / "data" / "foods.csv").read_text(encoding="utf-8").splitlines())}

LEVELS = {"retinol_ug": Fraction(3000), "selenium_ug": Fraction(255), "erucic_g": Fraction("0.49")}
"""An adult's most in a day, written here a second time on purpose; SCF 2002, EFSA 2023 (memory), EFSA 2016 at 70 kg."""

LEAN = ("chicken breast, skinless, roasted", "cod, cooked", "turkey breast, skinless, roasted", "tofu, firm",
        "shrimp (prawns), cooked", "beef eye of round, roasted")
GREENS = ("celeriac, boiled", "cauliflower, boiled", "leek, boiled", "zucchini (courgette), raw", "cabbage, boiled")
FATS_IN = ("MCT oil", "butter, salted", "olive oil", "ghee (butter oil, anhydrous)", "cheddar")


def drafts() -> list[dict[str, Any]]:
    """Ten first drafts: lean food and greens, some with a fat in them already, held to 1.5:1 up to 4:1."""
    rng = random.Random(2024)
    found = []
    for number in range(10):
        servings = rng.choice((1, 2, 4))
        chosen = [*rng.sample(LEAN, 1), *rng.sample(GREENS, 2), *rng.sample(FATS_IN, rng.choice((0, 1, 1)))]
        grams = [rng.choice((20, 40, 90, 160)), rng.randrange(40, 120, 10), rng.randrange(40, 120, 10), 10]
        items = [{"food": name, "grams": servings * weight} for name, weight in zip(chosen, grams, strict=False)]
        targets = {"ratio": rng.choice((1.5, 2, 3, 4))}
        found.append(dish(items, servings, targets=targets) | {"title": f"draft {number}"})
    return found


DRAFTS = drafts()


def held(written: Mapping[str, Any], more: Mapping[str, Fraction], column: str) -> Fraction:
    """What a serving holds of a nutrient, by the tests' own arithmetic; blank counts as none."""
    grams = [(one["food"], Fraction(str(one["grams"]))) for one in written["ingredients"]] + list(more.items())
    skipped = ("fish", "shellfish") if column == "erucic_g" else ()
    total = sum(weight * Fraction(TABLE[name][column] or 0) / 100 for name, weight in grams
                if TABLE[name]["role"] not in skipped)
    return Fraction(total) / int(written["servings"])


def overdone(written: Mapping[str, Any], more: Mapping[str, Fraction]) -> bool:
    """Whether a serving would hold more than the most of a food that is added, or newly pass a level."""
    for name, weight in more.items():
        of_it = weight + sum(Fraction(str(i["grams"])) for i in written["ingredients"] if i["food"] == name)
        if TABLE[name]["most_per_serving"] and of_it > int(written["servings"]) * Fraction(
                TABLE[name]["most_per_serving"]):
            return True
    return any(held(written, {}, column) <= most < held(written, more, column) for column, most in LEVELS.items())


def test_ten_drafts_are_offered_nothing_beyond_what_a_person_may_eat(tmp_path: Path) -> None:
    """`add-fat --most 200`, as text and as JSON; every fat of the table that is not offered is so for a reason."""
    fats = {name for name, row in TABLE.items() if row["role"] == "fat"}
    withheld = within = 0
    for number, written in enumerate(DRAFTS):
        path = tmp_path / f"draft-{number}.toml"
        path.write_text(to_toml(written), encoding="utf-8")
        asked = ["add-fat", str(path), "--most", "200"]
        text = CliRunner().invoke(main, asked)
        assert text.exit_code in (0, 3), text.output
        data = json.loads(CliRunner().invoke(main, [*asked, "--format", "json"]).stdout)
        offered = [*data["candidates"], *([data["mix"]] if data["mix"] else [])]
        for one in offered:
            assert not {"cod liver oil", "lecithin, soy", "mustard oil"} & set(one["foods"])
            assert one["beyond"] == []
            for size in ("least", "weighed"):
                if one[size]:
                    grams = [Fraction(str(weight)) for weight in one[size]["grams"]]
                    assert not overdone(written, dict(zip(one["foods"], grams, strict=True))), (number, one["foods"])
        left = {one["food"] for one in data["not_offered"]}
        withheld += len(left)
        within += any(one["foods"] == ["MCT oil"] for one in data["candidates"])
        assert {one["foods"][0] for one in data["candidates"]} | left == fats
        listed = text.stdout.split("Not offered")[0]
        assert all(name not in listed for name in ("cod liver oil", "lecithin", "mustard oil"))
        for name in left:
            named = json.loads(CliRunner().invoke(main, [*asked, "--with", name, "--format", "json"]).stdout)
            (one,) = named["candidates"]
            assert one["outcome"] == BEYOND and "is the most" in one["beyond"][0] and named["not_offered"] == []
            assert overdone(written, {name: Fraction(str(one["weighed"]["grams"][0]))})
            assert "is the most" in " ".join(CliRunner().invoke(main, [*asked, "--with", name]).stdout.split())
    assert withheld >= 3 and within >= 2, "drafts that hold nothing back, or everything, show nothing"


def fat(name: str, grams: float, most: float | None = None, **others: float) -> Food:
    return Food(name, f"own:{name}", "available", {"fat_g": grams, "protein_g": 0, "carbs_g": 0} | others, role="fat",
                allergens=(), most=most)


def plate(*more: Ingredient, ratio: float = 2.0) -> Recipe:
    """Two servings with 20 g of protein each, or what is in them more."""
    meat = Food("meat", "own:meat", "available", {"fat_g": 0, "protein_g": 20, "carbs_g": 0}, allergens=())
    return Recipe("Plate", 2, (Ingredient("meat", meat, 200), *more), (Target("ratio", ratio),))


def test_what_the_dish_has_of_a_food_counts_with_what_is_added() -> None:
    """80 g of fat are needed in two servings: 40 g of oil each; with 10 g in it already 30 g more."""
    oil = fat("oil", 100, 40)
    assert [c.outcome for c in add_fat(plate(), FoodTable((oil,))).candidates] == [KEEPS]
    tight = replace(oil, most=39.5)
    for recipe in (plate(), plate(Ingredient("in it", tight, 20))):
        found = add_fat(recipe, FoodTable((tight,)))
        assert found.candidates == () and [c.name for c in found.not_offered] == ["oil"]
        named = add_fat(recipe, FoodTable((tight,)), ["oil"])
        assert [c.outcome for c in named.candidates] == [BEYOND] and not named.solved and named.not_offered == ()
    told = add_fat(plate(Ingredient("in it", tight, 20)), FoodTable((tight,)), ["oil"]).candidates[0].beyond
    assert told == ("one serving holds 40 g of in it and oil, where 39.5 g is the most",)


def test_a_level_that_the_dish_passes_by_itself_withholds_no_fat() -> None:
    """4,000 ug of retinol in a serving as written: butter brings 280 more; where it is 2,800 the butter passes it."""
    butter = fat("butter", 80, retinol_ug=700)

    def of(amount: float) -> list[str]:
        liver = Food("liver", "own:liver", "available", {"fat_g": 0, "protein_g": 0, "carbs_g": 0,
                                                         "retinol_ug": amount}, allergens=())
        found = add_fat(plate(Ingredient("liver", liver, 200)), FoodTable((butter,)))
        return [candidate.outcome for candidate in found.candidates]

    assert of(4000) == of(2600) == [KEEPS] and of(2800) == []


def test_the_mix_is_the_best_of_all_pairs_that_a_person_may_eat() -> None:
    """Seeded: no fat alone is within its most; every pair of whole grams is tried."""
    rng, mixed = random.Random(5), 0
    for _ in range(30):
        foods = tuple(fat(f"fat {k}", rng.randint(70, 100), rng.choice((5, 12, 20, 27.5, 33))) for k in range(4))
        found = add_fat(plate(), FoodTable(foods))
        assert all(c.outcome == KEEPS for c in found.candidates)
        pairs = [(x + y, one, two, x, y) for one, two in combinations(foods, 2)
                 for x in range(1, int(2 * (one.most or 0)) + 1) for y in range(1, int(2 * (two.most or 0)) + 1)
                 if x * one.amounts["fat_g"] + y * two.amounts["fat_g"] >= 8000]
        if found.candidates:
            continue
        if pairs:
            mixed += 1
            assert found.mix is not None and found.mix.weighed is not None and found.mix.outcome == KEEPS
            assert found.mix.weighed.total == min(pairs, key=lambda pair: pair[0])[0]
        else:
            assert found.mix is None
    assert mixed >= 5


def test_a_dish_beyond_the_most_of_one_fat_may_have_a_mix_of_others() -> None:
    """90 g of an oil in a serving where 80 g is the most: the 60 g of fat that 6:1 lacks are of the two others.

    30 and 33.4 g in a serving are more than 20 and 30 g. At most 40 g of one and 60 of two: 62 g hold 59.8 g of fat at
    most, 63 g may hold 60 (33 and 30).
    """
    oil, one, two = fat("oil", 100, 80), fat("one", 100, 20), fat("two", 90, 30)
    found = add_fat(plate(Ingredient("oil in it", oil, 180), ratio=6), FoodTable((oil, one, two)))
    assert {c.name for c in found.not_offered} == {"one", "two", "oil"} and found.mix is not None
    assert {food.name for food in found.mix.foods} == {"one", "two"}
    assert found.mix.weighed is not None and found.mix.weighed.total == 63 and found.mix.beyond == ()


def test_one_more_fat_is_none_that_a_person_may_not_eat(tmp_path: Path) -> None:
    """80 g of fat in two servings: one oil is held to 39 g, one to 40 g; 40 g of one hold 3,040 ug of retinol."""
    rows = (food("meat", 0, 20), food("held", 100, role="fat", most_per_serving=39),
            food("kept", 100, role="fat", most_per_serving=40), food("rich", 100, role="fat", retinol_ug=7600),
            food("fair", 100, role="fat", retinol_ug=7400))
    foods = table(tmp_path, *rows)
    items = [{"food": "meat", "grams": 100, "min": 100, "max": 100}, {"food": "meat", "label": "more", "grams": 100}]
    written = dish(items, 2, targets={"ratio": 2})
    for exact in (True, False):
        answer = solve(recipe_from(written, foods), foods=foods, exact=exact)
        assert isinstance(answer, Impossible) and answer.diagnosis.fats is not None
        assert [(one.food.name, one.grams) for one in answer.diagnosis.fats] == [("kept", 80), ("fair", 80)]


def test_one_more_fat_counts_what_the_dish_has_of_it(tmp_path: Path) -> None:
    """80 g of fat in two servings, 60 g there as the held oil: 10 g more in each are 40 g, where 39 g is the most."""
    foods = table(tmp_path, food("meat", 0, 20), food("held", 100, role="fat", most_per_serving=39))
    written = dish([{"food": "meat", "grams": 200}, {"food": "held", "grams": 60, "min": 0, "max": 60}], 2,
                   targets={"ratio": 2})
    answer = solve(recipe_from(written, foods), foods=foods)
    assert isinstance(answer, Impossible) and answer.diagnosis.fats == ()


def test_every_food_of_a_role_is_tried_within_its_most(tmp_path: Path) -> None:
    """80 g of fat in two servings: of the held oil 78 g at most, so 2:1 cannot be; at 1.9:1, 76 g do.

    Of the beyond 10 g at most where 20 g is the least; the rich passes 3,000 ug of retinol with what it needs.
    """
    foods = table(tmp_path, food("meat", 0, 20), food("oil", 100, role="fat"),
                  food("held", 100, role="fat", most_per_serving=39), food("rich", 100, role="fat", retinol_ug=8500),
                  food("beyond", 100, role="fat", most_per_serving=5))
    item = {"food": "oil", "grams": 100, "min": 20, "max": 100}
    for ratio, outcome in ((2, "impossible"), (1.9, "solved")):
        recipe = recipe_from(dish([{"food": "meat", "grams": 200}, item], 2, targets={"ratio": ratio}), foods)
        for most in (None, 10):
            tried = {one.food.name: one for one in try_all(recipe, foods, "oil", "fat", most=most).trials}
            assert {name: one.outcome for name, one in tried.items()} == {
                "held": outcome, "rich": BEYOND, "beyond": BEYOND}
            assert tried["held"].reason == ("with at most 39 g of it in a serving" if ratio == 2 else "")
            assert "ug of retinol" in tried["rich"].reason and tried["rich"].side is None
    fixed = recipe_from(dish([{"food": "meat", "grams": 200}, {"food": "oil", "grams": 90}], 2,
                             targets={"ratio": 2}), foods)
    assert {one.food.name: one.outcome for one in try_all(fixed, foods, "oil", "fat").trials} == {
        "held": BEYOND, "rich": BEYOND, "beyond": BEYOND}


def test_the_text_of_a_trial_says_what_is_not_offered(tmp_path: Path) -> None:
    path = tmp_path / "dish.toml"
    path.write_text('title = "Plate"\nservings = 2\ntargets = {ratio = 2}\n'
                    'ingredients = [{food = "chicken breast, skinless, roasted", grams = 200},\n'
                    '  {food = "olive oil", grams = 130}]\n', encoding="utf-8")
    text = CliRunner().invoke(main, ["swap", str(path), "olive oil", "--try-all", "fat", "--most", "50"]).stdout
    assert "Not offered, as a serving would hold more than a person may eat:\n  MCT oil" in text
    assert "MCT" not in text.split("Not offered")[0]


def test_a_remedy_for_a_bowl_goes_no_further_than_a_person_may_eat(tmp_path: Path) -> None:
    """270 g of meat want 108 g of oil, and 80 g may rise to 120: 54 g in each of two servings, 36 in each of three."""
    written = dish([{"food": "meat", "grams": 200, "min": 150, "max": 300},
                    {"food": "oil", "grams": 80, "min": 0, "max": 80}], 2, targets={"ratio": 2})
    for most, does in ((60, True), (45, False)):
        foods = table(tmp_path, food("meat", 0, 20), food("oil", 100, role="fat", most_per_serving=most))
        found = adjust(recipe_from(written, foods), {"meat": 270})
        raised = [(remedy.servings or 2, grams) for remedy in found.remedies for _, _, grams in remedy.raised]
        assert ((2, Fraction(108)) in raised) == does, raised
        assert raised and all(grams <= servings * most for servings, grams in raised)
