"""What a menu tells of a recipe is what `solve` tells: warnings, cautions, messages, figures that end in a tie."""

from __future__ import annotations

import random
from pathlib import Path

import pandas as pd
import pytest

from ratio_solver import FoodTable, MenuOptions, Proposal, load_foods, recipe_from, solve, solve_menu
from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.menu.results import impossible_message
from tests.kitchen import food, table
from tests.menu.drawing import TIMES, framed, one_by_one
from tests.menu.test_answers import recipe_groups, written

OILY = ("olive oil", "butter, salted", "cream, heavy (36 % fat)", "ghee (butter oil, anhydrous)")
LEAN = ("celeriac, raw", "kohlrabi, raw", "cauliflower, raw", "wine, red", "wine, dessert, sweet", "tempeh", "gruyere",
        "chicken breast, skinless, roasted", "egg, whole, raw", "psyllium husk powder", "erythritol", "meal of unknown",
        "meal without fibre", "salt")


def unsaid(folder: Path) -> FoodTable:
    """The bundled table with two foods of which something is not known."""
    rows = (food("meal of unknown", 20, 30, 10, 4), food("meal without fibre", 20, 30, 10, "", allergens="nuts"))
    path = folder / "own.csv"
    table(folder, *rows)
    return load_foods(path)


def drawn_kitchen(seed: int, count: int, foods: FoodTable) -> pd.DataFrame:
    """Dishes with everything that is told of: alcohol, unknown figures and allergens, 3:1 and more, nothing in them."""
    rng, rows = random.Random(seed), []
    lean = [name for name in LEAN if foods.get(name)]
    for number in range(count):
        bare = number % 6 == 5  # nothing but a ratio is asked for: with the least energy this is an empty dish
        names = [rng.choice(OILY), *rng.sample(lean, rng.randint(2, 5))]
        for place, name in enumerate(names):
            grams = rng.randint(0, 300)
            row = {"recipe": f"dish {number}", "food": name, "grams": str(grams)}
            if place == 0:
                row |= {"servings": str(rng.randint(1, 8)), "ratio": str(rng.choice((0.5, 1, 2, 2.99, 3, 3.5)))}
                row |= {key: value for key, value, share in (
                    ("net_carbs", "9", 0.7), ("sodium_min", "5", 0.2), ("magnesium_min", "3", 0.2),
                    ("protein_min", "4", 0.3), ("ratio_max", "4", 0.2)) if rng.random() < share and not bare}
            if place == 0 or bare or rng.random() < 0.6:
                row |= {"min": "0" if bare or rng.random() < 0.7 else str(min(grams, 20)), "max": str(grams + 200)}
            if name == "celeriac, raw" and rng.random() < 0.5:
                row["yield"] = "0.9"
            rows.append(row)
    return framed(rows)


@pytest.mark.parametrize("options", [MenuOptions(), MenuOptions(exact=True), MenuOptions("lightest", exact=True),
                                     MenuOptions(guaranteed=True, exact=True)], ids=str)
def test_a_menu_tells_what_solve_tells(options: MenuOptions, tmp_path: Path) -> None:
    foods = unsaid(tmp_path)
    frame = drawn_kitchen(5, 24 * TIMES, foods)
    found = solve_menu(frame, foods, options)
    servings = found.servings.set_index("recipe")
    assert not len(found.problems)
    told = set()
    for name, rows in recipe_groups(frame):
        answer = solve(recipe_from(written(name, rows), foods), options.prefer, guaranteed=options.guaranteed,
                       exact=options.exact)
        row = servings.loc[name]
        assert row["outcome"] == answer.outcome, name
        assert row["warnings"] == "; ".join(answer.warnings), name
        assert row["caution"] == in_a_cell(answer.cautions), name
        if not isinstance(answer, Proposal):
            assert row["message"] == impossible_message(answer.diagnosis), name
            told.add("empty" if answer.diagnosis.empty else "impossible")
        told |= {word for said in answer.warnings for word in ("alcohol", "fibre", "allergens", "interval")
                 if word in said}
    assert {"alcohol", "fibre", "allergens"} <= told
    assert "interval" in told or not options.guaranteed
    assert "empty" in told or options.prefer != "lightest"


@pytest.mark.parametrize("exact", [True, False])
def test_figures_that_end_in_a_tie_are_rounded_alike(exact: bool, tmp_path: Path,
                                                    monkeypatch: pytest.MonkeyPatch) -> None:
    """Servings of 8 to 64 and steps of an eighth: the seventh decimal often is a 5, and nothing comes after it."""
    rng, rows = random.Random(3), []
    own = table(tmp_path, *(food(f"f{number}", round(rng.uniform(0, 90), 2), round(rng.uniform(0, 5), 2),
                                 round(rng.uniform(0, 4), 2), energy_kcal=round(rng.uniform(1, 90), 1))
                            for number in range(30)))
    for number in range(60 * TIMES):
        for place in range(rng.randint(3, 6)):
            row = {"recipe": f"dish {number}", "food": f"f{rng.randrange(5 * place, 5 * place + 5)}",
                   "grams": f"{rng.randint(1, 2400) / 8:g}"}
            if place == 0:
                row |= {"servings": str(rng.choice((8, 16, 32, 64))), "ratio": str(rng.choice((2, 2.5, 3))),
                        "net_carbs": str(rng.choice((3, 5.5))), "protein_min": "0.5"}
            if rng.random() < 0.7:
                row |= {"min": "0", "max": str(rng.choice((100, 250, 600))), "step": rng.choice(("1", "0.5", "0.125"))}
            rows.append(row)
    frame = framed(rows)
    together = solve_menu(frame, own, MenuOptions(exact=exact))
    one_by_one(monkeypatch)
    alone = solve_menu(frame, own, MenuOptions(exact=exact))
    assert (together.servings["outcome"] == "solved").sum() > 20
    for name in ("weights", "servings", "limits", "problems"):
        mine, theirs = (getattr(tables, name).astype(object) for tables in (together, alone))
        pd.testing.assert_frame_equal(mine.where(mine.notna(), ""), theirs.where(theirs.notna(), ""),
                                      check_index_type=False)


def test_a_dish_of_fixed_weights_at_its_limit_leaves_its_neighbours_alone() -> None:
    """Butter has 81.11 g of fat: a least of 2e-7 g more is within the solver's tolerance."""
    frame = framed([
        {"recipe": "before", "servings": "1", "ratio": "1", "food": "butter, salted", "grams": "9", "min": "0",
         "max": "50"},
        {"recipe": "fixed", "servings": "1", "protein_max": "0.85", "food": "butter, salted", "grams": "100"},
        {"recipe": "fixed too", "servings": "1", "protein_max": "0.8500001", "food": "butter, salted", "grams": "100"},
        {"recipe": "after", "servings": "1", "ratio": "1", "food": "butter, salted", "grams": "9", "min": "0",
         "max": "50"},
    ])
    for exact in (True, False):
        found = solve_menu(frame, options=MenuOptions(exact=exact))
        assert found.servings["outcome"].tolist() == ["solved"] * 4 and not len(found.problems)


def test_the_other_end_of_a_quantity_that_binds_sees_the_same_value(tmp_path: Path) -> None:
    """By hand: 300 mg of fat and half a microgram to 100 mg of protein are 3.000005:1, within the tolerance of 3:1.

    What binds is told as its bound, so that the highest ratio is 1 away; that of no other dish changes.
    """
    own = table(tmp_path, food("oil", 100), food("meat", 0, 100), food("water"))
    rows = [{"recipe": name, "food": food_, "grams": grams, "min": low, "max": "9" if low else "", **head}
            for name, oil in (("binds", "0.3000005"), ("does not", "0.3001"))
            for food_, grams, low, head in (
                ("oil", oil, "", {"servings": "1", "ratio": "3", "ratio_max": "4", "weight_max": "2"}),
                ("meat", "0.1", "", {}), ("water", "1", "0", {}))]
    limits = solve_menu(framed(rows), own, MenuOptions(exact=True)).limits
    ratio = limits[limits["name"] == "ratio"]
    assert ratio["actual"].tolist() == [3.0, 3.0, 3.001, 3.001]
    assert ratio["slack"].tolist() == [0.0, 1.0, 0.001, 0.999]
    for name, part in recipe_groups(framed(rows)):
        answer = solve(recipe_from(written(name, part), own), exact=True)
        assert [float(state.slack) for state in answer.limits if state.limit.name == "ratio"] == \
            ratio["slack"][ratio["recipe"] == name].tolist()


@pytest.mark.parametrize("exact", [True, False])
def test_limits_have_one_order_whichever_of_the_columns_a_recipe_has(
    exact: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """That of the columns: what is on the ratio comes first, of a recipe without a least ratio too, and in messages."""
    own = table(tmp_path, food("oil", 100), food("meat", 0, 100), food("sugar", 0, 0, 100))
    heads = {"both": {"ratio": "1", "net_carbs": "9"}, "max": {"net_carbs": "9", "ratio_max": "4"},
             "neither": {"net_carbs": "3", "ratio_max": "0.1"}}
    frame = framed([{"recipe": name, "food": food_, "grams": grams, "min": grams, "max": grams if name == "neither"
                     else "90", **({"servings": "1", "ratio": "", "net_carbs": "", **head} if food_ == "oil" else {})}
                    for name, head in heads.items() for food_, grams in (("oil", "20"), ("meat", "9"), ("sugar", "4"))])
    frame = frame[["recipe", "servings", "ratio", "net_carbs", "ratio_max", "food", "grams", "min", "max"]]
    together = solve_menu(frame, own, MenuOptions(exact=exact))
    assert together.limits["name"].tolist() == ["ratio", "net carbs"] * 2
    one_by_one(monkeypatch)
    alone = solve_menu(frame, own, MenuOptions(exact=exact))
    assert alone.limits["name"].tolist() == ["ratio", "net carbs"] * 2
    assert alone.servings["message"].tolist() == together.servings["message"].tolist()


@pytest.mark.parametrize("options", [MenuOptions(exact=True), MenuOptions(guaranteed=True)], ids=str)
def test_what_is_told_of_targets_has_the_order_of_the_columns(options: MenuOptions, tmp_path: Path,
                                                              monkeypatch: pytest.MonkeyPatch) -> None:
    """Of two quotients a recipe has a most of the first and a least of the second, whose column stands before it."""
    ends = {f"{column}_{end}": str(value) for column in ("fat_g", "protein_g")
            for end, value in (("low", 8), ("high", 12))}
    own = table(tmp_path, food("oil", 100), food("curd", 10, 10, 5, energy_kcal=150) | ends, food("meat", 10, 20))
    names = ("energy_from_protein_min", "energy_from_fat_min", "energy_from_protein_max")
    rows = [{"recipe": name, "food": food_, "grams": "30", "min": "5", "max": "90",
             **({"servings": "1", **dict(zip(names, head, strict=True))} if food_ == "oil" else {})}
            for name, head in (("all", ("0.1", "0.3", "0.5")), ("two", ("", "0.3", "0.5")))
            for food_ in ("oil", "curd", "meat")]
    together = solve_menu(framed(rows), own, options)
    one_by_one(monkeypatch)
    alone = solve_menu(framed(rows), own, options)
    assert together.alone == 0 and alone.alone == 2
    assert together.servings["outcome"].tolist() == ["solved"] * 2
    first, second = ("energy from protein", "energy from fat")
    for told in together.servings["reckoned"]:
        assert told.index(first) < told.index(second)
    for column in ("reckoned", "warnings"):
        assert together.servings[column].tolist() == alone.servings[column].tolist()


def test_a_weight_a_microgram_above_its_least_is_at_it(tmp_path: Path) -> None:
    """By hand: 10.000001 g of fat are so much oil, at its least of 10 g within the tolerance; in doubles not."""
    own = table(tmp_path, food("oil", 100), food("water"))
    rows = [{"recipe": f"{fat}", "food": name, "grams": "5", "min": low, "max": high, **head}
            for fat in (10.000001, 10.1) for name, low, high, head in (
                ("oil", "10", "20", {"servings": "1", "fat_min": str(fat)}), ("water", "0", "9", {}))]
    rows += [{**row, "recipe": f"most {row['recipe']}", "grams": "25" if row["food"] == "oil" else "5",
              "fat_max": "19.999999", "fat_min": ""} for row in rows[:2]]
    frame = framed(rows)
    found = solve_menu(frame, own, MenuOptions(exact=True))
    at = found.weights[found.weights["food"] == "oil"]["at"].tolist()
    assert found.alone == 0 and at == ["min", "", "max"]
    for (name, part), said in zip(recipe_groups(frame), at, strict=True):
        assert (solve(recipe_from(written(name, part), own), exact=True).weights[0].at or "") == said, name
