"""Tables as spreadsheets write them: a misread figure is worse than a refused one."""

from __future__ import annotations

from pathlib import Path

import pytest

import ratio_solver as rs
from ratio_solver.errors import BadInput
from ratio_solver.foods.csv_file import read_csv
from ratio_solver.recipe.find import named_grams
from tests.kitchen import food, table_file

SEMICOLONS = "food;id;carb_basis;fat_g;protein_g;carbs_g;fibre_g;sodium_mg\n"


def test_a_point_for_thousands_is_refused_with_its_line(tmp_path: Path) -> None:
    table = tmp_path / "foods.csv"
    table.write_text(SEMICOLONS + "stock;own:1;available;0,5;1;2,25;0;1.200\n", encoding="utf-8")
    with pytest.raises(BadInput, match=r"line 2, sodium_mg: got '?1\.200'?; .*thousands"):
        rs.load_foods(table, bundled=False)


def test_decimal_commas_and_plain_points_are_read(tmp_path: Path) -> None:
    table = tmp_path / "foods.csv"
    table.write_text(SEMICOLONS + "stock;own:1;available;0,5;1.5;2,25;0;1200\n", encoding="utf-8")
    (food,) = rs.load_foods(table, bundled=False)
    assert (food.amounts["fat_g"], food.amounts["protein_g"], food.amounts["carbs_g"]) == (0.5, 1.5, 2.25)
    assert food.amounts["sodium_mg"] == 1200


@pytest.mark.parametrize("mark", ["\u2028", "\u0085", "\f", "\v", "\x1c"])
def test_only_line_ends_end_a_row(tmp_path: Path, mark: str) -> None:
    table = tmp_path / "foods.csv"
    table.write_bytes(f"food,id\r\nplain{mark}oil,own:1\r\n\"two\r\nlines\",own:2\r\nlast,own:3\r\n".encode())
    assert [(line, cells["food"], cells["id"]) for line, cells in read_csv(table).rows] == [
        (2, "plain oil", "own:1"), (3, "two lines", "own:2"), (5, "last", "own:3")]


def test_more_fibre_than_carbs_is_one_fault(tmp_path: Path) -> None:
    table = tmp_path / "foods.csv"
    table.write_text("food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g\nbran,own:1,by_difference,1,1,5,8\n",
                     encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        rs.load_foods(table, bundled=False)
    assert [fault.place for fault in caught.value.faults] == ["line 2, fibre_g"]


@pytest.mark.parametrize("grams", ["1_0", "\u0661\u0662", "nan", "-1", "inf"])
def test_grams_are_plain_numbers(grams: str) -> None:
    with pytest.raises(BadInput, match="expected NAME=GRAMS"):
        named_grams([f"butter={grams}"], "--have")


@pytest.mark.parametrize(("basis", "fibre", "good"), [("by_difference", 9, True), ("available", 9, False),
                                                      ("available", 0.4, True)])
def test_a_hundred_grams_hold_no_more_than_that(basis: str, fibre: float, good: bool, tmp_path: Path) -> None:
    """60 + 20 + 20 g, and fibre beside them where carbohydrate leaves it out; half a gram is left for rounding."""
    path = table_file(tmp_path, food("paste", fat=60, protein=20, carbs=20, fibre=fibre, basis=basis))
    if good:
        assert rs.load_foods(path, bundled=False).get("paste") is not None
        return
    with pytest.raises(BadInput, match=r"109 g in 100 g.*to be 100.5 g at most"):
        rs.load_foods(path, bundled=False)
