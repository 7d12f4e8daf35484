"""The table of yields against the release it was computed from, and its reader."""

from __future__ import annotations

import csv
import os
import re
from decimal import ROUND_HALF_EVEN, Decimal
from pathlib import Path

import pytest

from ratio_solver.faults import BadInput
from ratio_solver.foods.table import FoodTable, load_foods
from ratio_solver.foods.yields import bundled_yields, fat_kept, load_yields, share_by_protein

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "data" / "yields.csv"
SOURCE = re.compile(r"computed from USDA SR28 NDB (\d{5}) raw and (\d{5}) cooked, by protein")
PROTEIN, FAT, WATER = "203", "204", "255"
ANIMAL = ("meat", "poultry", "fish", "shellfish", "egg")


@pytest.fixture(scope="module")
def rows() -> list[dict[str, str]]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


@pytest.fixture(scope="module")
def release() -> dict[tuple[str, str], Decimal]:
    """Figures of the release by food number and nutrient number, read without the reader."""
    named = os.environ.get("SR28_DIR")
    folder = Path(named) if named else ROOT.parent / "shared" / "usda" / "sr28"
    if not (folder / "NUT_DATA.txt").is_file():
        pytest.skip("the release is not here: name its folder in SR28_DIR to compute the yields again from it")
    found = {}
    for line in (folder / "NUT_DATA.txt").read_text(encoding="cp1252").splitlines():
        fields = [part.strip("~") for part in line.split("^")]
        if fields[1] in (PROTEIN, FAT, WATER):
            found[fields[0], fields[1]] = Decimal(fields[2])
    return found


def test_every_row_computed_again_from_the_release(
    rows: list[dict[str, str]], release: dict[tuple[str, str], Decimal]
) -> None:
    wrong = []
    for row in rows:
        match = SOURCE.fullmatch(row["source"])
        assert match, row["source"]
        raw, cooked = match.groups()
        share = release[raw, PROTEIN] / release[cooked, PROTEIN]
        kept = share * release[cooked, FAT] / release[raw, FAT]
        if row["yield"] != str(share.quantize(Decimal("0.001"), ROUND_HALF_EVEN)):
            wrong.append((row["food"], row["prepared"], row["yield"], share))
        if row["fat_kept"] and row["fat_kept"] != str(kept.quantize(Decimal("0.01"), ROUND_HALF_EVEN)):
            wrong.append((row["food"], row["prepared"], row["fat_kept"], kept))
    assert wrong == []


def test_rows_name_foods_of_the_composition_table(rows: list[dict[str, str]], foods: FoodTable) -> None:
    assert len(rows) >= 60
    for row in rows:
        raw, cooked = foods.get(row["id"]), foods.get(row["cooked_id"])
        assert raw is not None and raw.name.lower() == row["food"].lower()
        assert cooked is not None and cooked.name.lower() == row["cooked_food"].lower()
        assert SOURCE.fullmatch(row["source"])
        assert row["source"].split()[5] == row["id"].removeprefix("ndb:")
        assert bool(row["fat_kept"]) == (raw.role in ANIMAL)


def test_water_tells_the_same_yield_where_no_fat_runs_out(rows: list[dict[str, str]], foods: FoodTable) -> None:
    """Dry matter stays too: an independent estimate, within a fifth for foods that are not of animals."""
    for row in rows:
        raw, cooked = foods.get(row["id"]), foods.get(row["cooked_id"])
        assert raw is not None and cooked is not None
        if raw.role in ANIMAL:
            continue
        dry = (100 - raw.amounts["water_g"]) / (100 - cooked.amounts["water_g"])
        assert 0.8 < float(row["yield"]) / dry < 1.25, row["food"]


@pytest.mark.parametrize(("name", "prepared", "share"), [
    ("beef, ground, 20 % fat, raw", "broiled", 0.667),
    ("bacon, raw", "baked", 0.353),
    ("chicken breast, skinless, raw", "roasted", 0.725),
])
def test_published_pairs(foods: FoodTable, name: str, prepared: str, share: float) -> None:
    """USDA SR28 raw and cooked foods by protein: 80/20 beef 0.667, bacon 0.353, chicken breast 0.725."""
    food = foods.get(name)
    assert food is not None
    row = bundled_yields().get(food, prepared.upper())
    assert row is not None and row.share == share
    cooked = foods.get(row.cooked_id)
    assert cooked is not None
    assert round(float(share_by_protein(food, cooked)), 3) == share


def test_a_broiled_patty_keeps_three_fifths_of_its_fat(foods: FoodTable) -> None:
    """USDA SR28: 0.59 of the fat of 80/20 ground beef stays in the broiled patty."""
    raw, cooked = foods.get("ndb:23572"), foods.get("ndb:23573")
    assert raw is not None and cooked is not None
    kept = fat_kept(raw, cooked)
    assert kept is not None and round(float(kept), 2) == 0.59
    row = bundled_yields().get(raw, "broiled")
    assert row is not None and row.fat_kept == 0.59


def test_faults_of_a_table_all_at_once(tmp_path: Path) -> None:
    path = tmp_path / "yields.csv"
    path.write_text("food,id,prepared,yield\na,x:1,boiled,0\na,x:1,boiled,0.9\nb,x:2,,1.1\nc,x:3,fried,much\n")
    with pytest.raises(BadInput) as bad:
        load_yields(path)
    assert [fault.place for fault in bad.value.faults] == [
        "line 2, yield", "line 3, prepared", "line 4, prepared", "line 5, yield"]


def test_a_table_without_its_columns_is_a_fault(tmp_path: Path) -> None:
    path = tmp_path / "yields.csv"
    path.write_text("food,yield\na,1\n")
    with pytest.raises(BadInput, match="expected the columns id, prepared"):
        load_yields(path)
