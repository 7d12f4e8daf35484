"""What was looked for and not found lies between nothing and a limit; intervals of two kinds; names of nutrients."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

import ratio_solver as rs
from ratio_solver.foods.content import content
from ratio_solver.foods.ends import kind_of
from ratio_solver.foods.nutrients import column_named, spoken
from ratio_solver.foods.policy import Policy
from tests.kitchen import dish, food, table

FOODS = rs.load_foods()


def recipe(folder: Path, targets: dict[str, object], *rows: dict[str, str]) -> rs.Recipe:
    items = [{"food": row["food"], "grams": 100} for row in rows]
    return rs.recipe_from(dish(items, targets=targets), table(folder, *rows))


def test_a_macronutrient_below_a_limit_is_taken_at_the_end_that_lowers_the_ratio(tmp_path: Path) -> None:
    """Cell "< 0.5": fat as none, protein and carbohydrate as 0.5; in intervals each from none to that."""
    row = food("broth", "< 0.5", "<0.5", "traces", 0, allergens="none")
    found = table(tmp_path, row).get("broth")
    assert found is not None
    assert (found.amounts["fat_g"], found.amounts["protein_g"], found.amounts["carbs_g"]) == (0, 0.5, 0.5)
    for column in ("fat_g", "protein_g", "carbs_g"):
        assert [content(found, column, Policy(), end) for end in ("low", "high", "lowest", "highest")] == [
            0, Fraction(1, 2), 0, Fraction(1, 2)]
    checked = rs.check(recipe(tmp_path, {"energy": {"max": 3.9}}, row), guaranteed="mean")
    assert not checked.kept, "0.5 g of fat, of protein and of carbs: 4.5 + 2 + 2 kcal"


def test_any_other_nutrient_below_a_limit_has_no_figure_but_a_bound(tmp_path: Path) -> None:
    row = food("broth", 1, 1, 1, 0, sodium_mg="< 40", allergens="none")
    assert rs.check(recipe(tmp_path, {"sodium": {"max": 40}}, row)).kept
    over = rs.check(recipe(tmp_path, {"sodium": {"max": 39}}, row))
    assert not over.kept and over.limits[0].actual == 40
    assert ("sodium is only known to be at most 40 mg in 100 g of broth: a maximum counts it as that, "
            "a minimum as none") in over.warnings
    under = rs.check(recipe(tmp_path, {"sodium": {"min": 1}}, row))
    assert not under.kept and under.limits[0].actual == 0
    assert "sodium_mg" not in under.facts.amounts, "no figure is stated"


def test_a_menu_counts_bounds_as_a_dish_does(tmp_path: Path) -> None:
    pd = pytest.importorskip("pandas")
    foods = table(tmp_path, food("broth", 1, 1, 1, 0, sodium_mg="< 40"), food("oil", 100, sodium_mg=0))
    head = {"recipe": "soup", "servings": "1", "ratio": "2", "grams": "50", "max": "100"}
    frame = pd.DataFrame([{**head, "sodium_max": "20", "food": "broth", "min": "50"},
                          {**head, "sodium_max": "", "food": "oil", "min": "0"}])
    found = rs.solve_menu(frame, foods)
    assert found.servings["outcome"].tolist() == ["solved"]
    assert found.limits.set_index("name").loc["sodium", "actual"] == 20


@pytest.mark.parametrize("cell", ["<", "< x", "<-1", "< 200", "trac"])
def test_other_marks_are_faults(cell: str, tmp_path: Path) -> None:
    with pytest.raises(rs.BadInput, match="fat_g"):
        table(tmp_path, food("broth", cell, 1, 1, 0))


def test_a_decimal_comma_is_read_after_the_mark(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    path.write_text("food;id;carb_basis;fat_g;protein_g;carbs_g;fibre_g;sodium_mg\n"
                    "broth;own:1;available;<0,5;1,5;1;0;trace\n", encoding="utf-8")
    [found] = rs.load_foods(path, bundled=False)
    assert found.high["fat_g"] == 0.5
    assert "sodium_mg" not in found.amounts and "sodium_mg" not in found.high  # a trace of mg is unknown


@pytest.mark.parametrize(("column", "value", "fault"), [
    ("fat_g_lowest", 9, "expected the low end, 8, to lie within"), ("fat_g_highest", 11, "expected the high end, 12"),
    ("fat_g_lowest", 11, "expected the lowest end of the interval around fat_g"),
])
def test_intervals_hold_their_figure_and_the_food_s_holds_the_mean_s(
    column: str, value: float, fault: str, tmp_path: Path
) -> None:
    ends = {"fat_g_low": 8, "fat_g_high": 12, column: value}
    with pytest.raises(rs.BadInput, match=fault):
        table(tmp_path, food("curd", 10, 8, 4, 0, **ends))


def test_the_interval_of_the_mean_stands_for_the_food_s_too(tmp_path: Path) -> None:
    [mean, single] = table(tmp_path, food("one", 10, fat_g_low=9, fat_g_high=11),
                           food("two", 10, fat_g_lowest=5, fat_g_highest=15))
    assert [mean.at("fat_g", end) for end in ("", "low", "high", "lowest", "highest")] == [10, 9, 11, 9, 11]
    assert [single.at("fat_g", end) for end in ("", "low", "high", "lowest", "highest")] == [10, 10, 10, 5, 15]


def test_kinds() -> None:
    assert [kind_of(x) for x in (True, "mean", "food", False, None)] == ["mean", "mean", "food", None, None]
    with pytest.raises(rs.BadInput, match="mean or food"):
        kind_of("most")  # type: ignore[arg-type]


@pytest.mark.parametrize(("name", "column"), [
    ("vitamin D", "vitamin_d_ug"), ("vitamin_a", "vitamin_a_ug"), ("cholesterol", "cholesterol_mg"),
    ("trans fat", "trans_g"), ("saturated fat", "saturated_g"), ("erucic acid", "erucic_g"), ("erucic", "erucic_g"),
    ("caprylic acid", "caprylic_g"), ("capric", "capric_g"), ("starch", "starch_g"), ("ash", "ash_g"),
    ("iron", "iron_mg"), ("zinc", "zinc_mg"), ("phosphorus", "phosphorus_mg"), ("selenium", "selenium_ug"),
    ("retinol", "retinol_ug"),
])
def test_nutrients_by_the_names_a_cook_gives_them(name: str, column: str) -> None:
    assert column_named(name, FOODS.columns) == column
    assert column_named(spoken(column), FOODS.columns) == column


def test_more_nutrients_can_be_held() -> None:
    """Beef liver, NDB 13325: vitamin A 4,968 ug, cholesterol 275 mg, iron 4.90 mg, read in USDA SR28."""
    targets = {"vitamin A": {"max": 3000}, "cholesterol": {"min": 100}, "iron": {"min": 1}}
    items = [{"food": "beef liver, raw", "grams": 0, "min": 0, "max": 100}]
    answer = rs.solve(rs.recipe_from(dish(items, targets=targets), FOODS))
    assert answer.outcome == "solved"
    assert answer.grams("beef liver, raw") == 37  # 100 / 2.75 = 36.4
    assert [answer.facts.amounts[column] for column in ("vitamin_a_ug", "cholesterol_mg", "iron_mg")] == [
        Fraction("1838.16"), Fraction("101.75"), Fraction("1.813")]
    most = rs.solve(rs.recipe_from(dish(items, targets=targets | {"vitamin A": {"max": 1800}}), FOODS))
    assert most.outcome == "impossible"
