"""The table of yields against the release it was computed from, and its reader.

No yield here is reckoned by the package: the figures are those of USDA SR28 (May 2016), read without its reader.
"""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Mapping
from decimal import ROUND_HALF_EVEN, Decimal
from pathlib import Path
from statistics import median

import pytest

from ratio_solver import check, recipe_from
from ratio_solver.errors import BadInput
from ratio_solver.foods.heat import bundled_yields, load_yields
from ratio_solver.foods.table import FoodTable, load_foods

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "data" / "yields.csv"
SOURCE = re.compile(r"computed from USDA SR28 NDB (\d{5}) raw and (\d{5}) cooked, by (protein|dry matter)(?:; (.+))?")
PROTEIN, FAT, CARBS, FIBRE, WATER = "203", "204", "205", "291", "255"
MEATS = ("meat", "poultry", "fish", "shellfish")
ANIMAL = (*MEATS, "egg")
DRY_HEAT = ("baked", "broiled", "grilled", "roasted", "heated", "microwaved")
COOKED = re.compile(r"\b(baked|boiled|braised|broiled|cooked|fried|grilled|pan-browned|pan-fried|roasted|simmered|"
                    r"stewed|stir-fried|hard-boiled|poached)\b")
RAW = re.compile(r"\b(raw|dry|dried|frozen|unheated|fresh, plain)\b")

OTHER_SAMPLES = {
    ("beef, ground, 5 % fat, raw", "pan-browned"): "1.11 times the fat in the cooked sample",
    ("beef tongue, raw", "simmered"): "3.68 g of carbohydrate in the raw sample, none in the cooked one",
    ("veal leg (top round), raw", "pan-fried"): "1.79 times the fat: some of it is that of the pan",
    ("veal shoulder, raw", "braised"): "1.15 times the fat in the cooked sample",
    ("italian sausage, pork, raw", "cooked"): "0.65 g of carbohydrate in the raw sample, 4.27 in the cooked one",
    ("chicken, meat only, raw", "roasted"): "1.78 times the fat: roasted under its skin",
    ("chicken thigh, skinless, raw", "roasted"): "1.57 times the fat: roasted under its skin",
    ("duck, meat only, raw", "roasted"): "1.47 times the fat: roasted under its skin",
    ("tilapia, raw", "cooked"): "1.20 times the fat in the cooked sample",
    ("clams, raw", "cooked"): "1.17 times the fat in the cooked sample",
}
"""Pairs whose ratio is more than a tenth off that of the cooked row, and what differs. But for the sausage the prepared
food has the lower ratio."""

WITH_MORE = re.compile(r"(?<!-)\bfried|\bcanned\b|\bsauteed\b|\bwith milk\b|\bfrozen\b")
"""Names of cooked foods with something added, or cooked from another state than raw."""


@pytest.fixture(scope="module")
def rows() -> list[dict[str, str]]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


Release = Mapping[tuple[str, str], Decimal]


def release_folder() -> Path:
    named = os.environ.get("SR28_DIR")
    folder = Path(named) if named else ROOT.parent / "shared" / "usda" / "sr28"
    if not (folder / "NUT_DATA.txt").is_file():
        pytest.skip("the release is not here: name its folder in SR28_DIR to compute the yields again from it")
    return folder


def records(name: str) -> list[list[str]]:
    lines = (release_folder() / name).read_text(encoding="cp1252").splitlines()
    return [[part.strip("~") for part in line.split("^")] for line in lines]


@pytest.fixture(scope="module")
def release() -> Release:
    """Figures of the release by food number and nutrient number."""
    wanted = (PROTEIN, FAT, CARBS, FIBRE, WATER)
    return {(fields[0], fields[1]): Decimal(fields[2]) for fields in records("NUT_DATA.txt") if fields[1] in wanted}


@pytest.fixture(scope="module")
def sampled() -> Mapping[str, int]:
    """By food number the samples that the release's fat figure rests on."""
    return {fields[0]: int(fields[3] or 0) for fields in records("NUT_DATA.txt") if fields[1] == FAT}


def pair(row: Mapping[str, str]) -> tuple[str, str, str, str]:
    """Number of the raw food and of the cooked one, by what the yield is, and what else the source says."""
    match = SOURCE.fullmatch(row["source"])
    assert match, row["source"]
    return match[1], match[2], match[3], match[4] or ""


def rounded(value: Decimal, places: str) -> str:
    return str(value.quantize(Decimal(places), ROUND_HALF_EVEN))


def ratio(release: Release, number: str) -> Decimal:
    net = release[number, CARBS] - release.get((number, FIBRE), Decimal(0))
    return release[number, FAT] / (release[number, PROTEIN] + net)


# --- the table ---------------------------------------------------------------------------------------------


def test_every_yield_computed_again_from_the_release(rows: list[dict[str, str]], release: Release,
                                                     sampled: Mapping[str, int]) -> None:
    """By protein; of plants the smaller of that and the one by dry matter where they are a tenth apart; wet ones gain
    no weight. Whatever is not simply by protein stands in the source with the figure that was not taken."""
    wrong = []
    for row in rows:
        raw, cooked, by, said = pair(row)
        by_protein = release[raw, PROTEIN] / release[cooked, PROTEIN]
        by_dry = (100 - release[raw, WATER]) / (100 - release[cooked, WATER])
        share, expected, told = by_protein, "protein", []
        if row["role"] not in ANIMAL and abs(by_protein / by_dry - 1) > Decimal("0.1"):
            share = min(by_protein, by_dry)
            expected = "protein" if share == by_protein else "dry matter"
            told.append(rounded(max(by_protein, by_dry), "0.001"))
        if share > 1 and release[raw, WATER] > 50:
            told.append(f"{rounded(share, '0.001')} in the pair, taken as 1")
            share = Decimal(1)
        kept = share * release[cooked, FAT] / release[raw, FAT] if row["role"] in ANIMAL else None
        if kept is not None and rounded(kept, "0.01") > "1.00":
            told.append(f"{rounded(kept, '0.01')} of its fat in the cooked sample: all counts as kept")
            kept = Decimal(1)
        if kept is not None and row["role"] != "egg" and rounded(kept, "0.01") >= "0.98" and not sampled[cooked]:
            told.append("what stays of its fat is not known")  # the cooked figures are reckoned from the raw ones
            kept = None
        figures = (rounded(share, "0.001"), "" if kept is None else rounded(kept, "0.01"), expected)
        if (row["yield"], row["fat_kept"], by) != figures or not all(text in said for text in told):
            wrong.append((row["food"], row["prepared"], row["yield"], row["fat_kept"], figures, told))
        assert bool(said) == bool(told) or row["food"].startswith("italian sausage"), row
    assert wrong == []


def test_no_dry_heat_adds_weight_and_none_adds_fat(rows: list[dict[str, str]]) -> None:
    for row in rows:
        assert row["prepared"] not in DRY_HEAT or float(row["yield"]) <= 1, row["food"]
        kept = float(row["fat_kept"] or 1)
        assert row["role"] not in ANIMAL or (float(row["yield"]) <= 1 and 0 < kept <= 1), row["food"]


def test_rows_name_foods_of_the_composition_table(rows: list[dict[str, str]], foods: FoodTable) -> None:
    for row in rows:
        raw = foods.get(row["id"])
        assert raw is not None and raw.name.lower() == row["food"].lower() and raw.role == row["role"]
        assert pair(row)[0] == row["id"].removeprefix("ndb:")
        cooked = foods.get(f"ndb:{pair(row)[1]}")
        assert (row["cooked_id"], row["cooked_food"]) == ((cooked.id, cooked.name) if cooked else ("", ""))
        assert not row["fat_kept"] or raw.role in ANIMAL


def test_every_raw_and_cooked_food_of_the_table_is_a_pair(rows: list[dict[str, str]], foods: FoodTable) -> None:
    """Meat, poultry, fish, vegetables: the cooked name is the raw one up to its first word that says how it is."""
    known = {(row["food"], row["cooked_food"]) for row in rows}
    roles = (*MEATS, "vegetable", "mushroom", "starchy vegetable")
    named = [food.name for food in foods if food.role in roles and food.id.startswith("ndb:")]
    raw: dict[str, set[str]] = {}
    for name in named:
        if RAW.search(name) and not COOKED.search(name):
            raw.setdefault(RAW.split(name)[0].strip(", "), set()).add(name)
    cooked = {name: raw[before] for name in named if COOKED.search(name) and not WITH_MORE.search(name)
              and (before := COOKED.split(name)[0].strip(", ")) in raw}
    assert len(cooked) > 90
    assert [name for name, before in cooked.items() if known.isdisjoint({(one, name) for one in before})] == []


# --- what heat takes ---------------------------------------------------------------------------------------


def prepared_ratio(foods: FoodTable, name: str, prepared: str) -> float:
    facts = check(recipe_from({"title": "t", "servings": 1, "ingredients": [
        {"food": name, "prepared": prepared, "grams": 100}]}, foods)).facts
    assert facts.ratio is not None
    return float(facts.ratio)


def test_what_is_prepared_has_the_ratio_of_the_cooked_food(
    rows: list[dict[str, str]], foods: FoodTable, release: Release
) -> None:
    """Every raw and cooked pair of meat, poultry, fish and shellfish: within a tenth, but for those named above."""
    pairs = [row for row in rows if row["role"] in MEATS]
    off = set()
    for row in pairs:
        found = prepared_ratio(foods, row["food"], row["prepared"]) / float(ratio(release, pair(row)[1]))
        if abs(found - 1) > 0.1:
            off.add((row["food"], row["prepared"]))
            assert found < 1 or row["food"].startswith("italian sausage")
    print(f"{len(pairs)} pairs, {sum(bool(row['cooked_id']) for row in pairs)} of them with both rows in the table; "
          f"{len(off)} of other samples")
    assert len(pairs) >= 140
    assert off == set(OTHER_SAMPLES)


@pytest.mark.parametrize(("name", "prepared", "cooked"), [
    ("bacon, raw", "baked", "1.17"), ("bacon, raw", "pan-fried", "0.99"),
    ("duck, meat and skin, raw", "roasted", "1.49"), ("goose, meat and skin, raw", "roasted", "0.87"),
    ("lamb, ground, raw", "broiled", "0.79"), ("lamb leg, raw", "roasted", "0.55"),
    ("lamb shoulder, raw", "braised", "0.80"), ("beef, ground, 20 % fat, raw", "broiled", "0.69"),
    ("beef, ground, 30 % fat, raw", "pan-browned", "0.70"), ("beef short ribs, raw", "braised", "1.95"),
])
def test_by_name(foods: FoodTable, name: str, prepared: str, cooked: str) -> None:
    """Ratios of the cooked rows, fat / (protein + carbohydrate) of USDA SR28 by hand: baked bacon 43.27 / 37.08."""
    assert prepared_ratio(foods, name, prepared) == pytest.approx(float(cooked), rel=0.1)


WEIGHED = re.compile(r"\(yield from (1 lb|1/2 lb|1/4 lb|\d+ g) raw meat(?:, boneless)?\s*\)")
POUNDS = {"1 lb": 453.6, "1/2 lb": 226.8, "1/4 lb": 113.4}
PIECES = ("bird", "breast", "chicken", "drumstick", "duck", "fillet", "goose", "leg", "link", "piece", "slice", "steak",
          "thigh", "unit (yield from 1 lb ready-to-cook")


def test_protein_stays_where_the_release_weighs_the_same_piece_twice(
    rows: list[dict[str, str]], release: Release
) -> None:
    """Fillets, birds, links and steaks weighed raw and cooked: half of them have more protein than before, half less.

    So no pair shows a loss of protein that is more than the difference of its samples.
    """
    measures: dict[str, dict[str, float]] = {}
    for number, _, count, name, grams, *_ in records("WEIGHT.txt"):
        measures.setdefault(number, {})[re.sub(r" (raw|cooked)$", "", name)] = float(grams) / float(count)
    kept = []
    for row in rows:
        raw, cooked, *_ = pair(row)
        if row["role"] not in MEATS:
            continue
        for name, grams in measures.get(cooked, {}).items():
            match = WEIGHED.search(name)
            before = measures.get(raw, {}).get(name) if name.startswith(PIECES) else None
            if match:
                before = POUNDS.get(match[1]) or float(match[1].removesuffix(" g"))
            if before:
                kept.append(grams / before * float(release[cooked, PROTEIN] / release[raw, PROTEIN]))
    assert len(kept) >= 35
    assert 0.98 < median(kept) < 1.02
    assert sorted(kept)[len(kept) // 4] > 0.95 and sorted(kept)[3 * len(kept) // 4] < 1.06


# --- the reader --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "prepared", "share", "kept"), [
    ("beef, ground, 20 % fat, raw", "broiled", 0.667, 0.59),
    ("bacon, raw", "baked", 0.353, 0.39),
    ("chicken breast, skinless, raw", "roasted", 0.725, 0.99),
])
def test_published_pairs(foods: FoodTable, name: str, prepared: str, share: float, kept: float) -> None:
    """USDA SR28 by protein: 80/20 beef 0.667, with 0.59 of its fat in the patty; bacon 0.353; chicken breast 0.725."""
    food = foods.get(name)
    assert food is not None
    row = bundled_yields().get(food, prepared.upper())
    assert row is not None and (row.share, row.fat_kept) == (share, kept)


def test_nearest_and_leanest(foods: FoodTable) -> None:
    bacon, butter = foods.get("bacon, raw"), foods.get("butter, salted")
    assert bacon is not None and butter is not None
    table = bundled_yields()
    near, lean = table.nearest(bacon, 0.36), table.leanest(bacon)
    assert near is not None and lean is not None
    assert (near.prepared, lean.prepared) == ("baked", "microwaved")
    assert table.nearest(butter, 0.9) is None and table.leanest(butter) is None
    least = table.leanest_of("fish")
    assert least is not None and (least.food, least.fat_kept) == ("salmon, farmed, raw", 0.85)


def test_faults_of_a_table_all_at_once(tmp_path: Path) -> None:
    path = tmp_path / "yields.csv"
    path.write_text("food,id,prepared,yield,fat_kept\na,x:1,boiled,0,\na,x:1,boiled,0.9,\nb,x:2,,1.1,\n"
                    "c,x:3,fried,much,\nd,x:4,fried,0.7,1.11\n")
    with pytest.raises(BadInput) as bad:
        load_yields(path)
    assert [fault.place for fault in bad.value.faults] == [
        "line 2, yield", "line 3, prepared", "line 4, prepared", "line 5, yield", "line 6, fat_kept"]


def test_a_table_without_its_columns_is_a_fault(tmp_path: Path) -> None:
    path = tmp_path / "yields.csv"
    path.write_text("food,yield\na,1\n")
    with pytest.raises(BadInput, match="expected the columns id, prepared"):
        load_yields(path)
