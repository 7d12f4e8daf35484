"""The bundled table against the release it was taken from, and the reader on a tiny release."""

from __future__ import annotations

import csv
import os
import re
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from pathlib import Path

import pytest

from ratio_solver.faults import BadInput
from ratio_solver.foods.release import (
    COLUMNS,
    Figure,
    interval,
    measure_name,
    read_rows,
    rows_from_release,
    write_table,
)

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "data" / "foods.csv"

ALLERGENS = {
    "gluten", "crustaceans", "eggs", "fish", "peanuts", "soybeans", "milk", "nuts", "celery", "mustard",
    "sesame", "sulphites", "lupin", "molluscs",
}
"""Regulation (EU) 1169/2011, Annex II."""

ROLES = {
    "fat", "dairy", "cheese", "egg", "meat", "poultry", "fish", "shellfish", "vegetable", "mushroom", "fruit",
    "nut", "seed", "flour", "grain", "starchy vegetable", "legume", "soy", "bread", "pasta", "fibre", "binder",
    "sweetener", "sugar", "protein powder", "condiment", "stock", "herb", "spice", "leavening", "drink",
    "chocolate", "seaweed",
}

NUMBERS = {
    "protein_g": "203", "fat_g": "204", "carbs_g": "205", "energy_kcal": "208", "fibre_g": "291",
    "water_g": "255", "sugars_g": "269", "alcohol_g": "221", "sodium_mg": "307", "potassium_mg": "306",
    "magnesium_mg": "304", "calcium_mg": "301", "saturated_g": "606",
}
"""Nutrient numbers of the release (its NUTR_DEF), written here a second time on purpose."""


def release_folder() -> Path | None:
    named = os.environ.get("SR28_DIR")
    folder = Path(named) if named else ROOT.parent / "shared" / "usda" / "sr28"
    return folder if (folder / "NUT_DATA.txt").is_file() else None


@pytest.fixture(scope="module")
def table() -> list[dict[str, str]]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def release() -> dict[tuple[str, str], list[str]]:
    """Fields of every nutrient of the release by food number and nutrient number, read without the reader."""
    folder = release_folder()
    if folder is None:
        pytest.skip("the release is not here: name its folder in SR28_DIR to compare the table with it")
    found = {}
    for line in (folder / "NUT_DATA.txt").read_text(encoding="cp1252").splitlines():
        fields = [part.strip("~") for part in line.split("^")]
        found[fields[0], fields[1]] = fields
    return found


def numbered(table: list[dict[str, str]]) -> list[tuple[str, dict[str, str]]]:
    """Rows that cite the release, each with its food number."""
    return [
        (match[1], row) for row in table if (match := re.match(r"USDA SR28, NDB (\d{5})\b", row["source"]))
    ]


# --- the table and the release ---------------------------------------------------------------------------


def test_every_figure_is_the_release_s_own(
    table: list[dict[str, str]], release: dict[tuple[str, str], list[str]]
) -> None:
    wrong = [
        (row["food"], column, row[column])
        for number, row in numbered(table)
        for column, nutrient in NUMBERS.items()
        if row[column] != release.get((number, nutrient), ["", "", ""])[2]
    ]
    assert wrong == []


def test_every_interval_is_two_standard_errors_wide(
    table: list[dict[str, str]], release: dict[tuple[str, str], list[str]]
) -> None:
    wrong = []
    for number, row in numbered(table):
        for column in ("fat_g", "protein_g", "fibre_g"):
            fields = release.get((number, NUMBERS[column]))
            expected = ("", "")
            if fields and fields[4] and int(fields[3]) >= 3:
                mean, reach = Decimal(fields[2]), Decimal("1.96") * Decimal(fields[4])
                low, high = max(Decimal(0), mean - reach), min(Decimal(100), mean + reach)
                expected = (
                    str(low.quantize(Decimal("0.001"), ROUND_FLOOR)),
                    str(high.quantize(Decimal("0.001"), ROUND_CEILING)),
                )
            if (row[f"{column}_low"], row[f"{column}_high"]) != expected:
                wrong.append((row["food"], column))
    assert wrong == []


def test_refuse_is_the_release_s_own(table: list[dict[str, str]]) -> None:
    folder = release_folder()
    if folder is None:
        pytest.skip("the release is not here: name its folder in SR28_DIR to compare the table with it")
    lines = (folder / "FOOD_DES.txt").read_text(encoding="cp1252").splitlines()
    refuse = {fields[0].strip("~"): fields[8] for line in lines if (fields := line.split("^"))}
    assert [row["food"] for number, row in numbered(table)
            if row["id"].startswith("ndb:") and row["refuse_percent"] != refuse[number]] == []


def test_the_table_is_what_the_selection_gives(table: list[dict[str, str]]) -> None:
    folder = release_folder()
    if folder is None:
        pytest.skip("the release is not here: name its folder in SR28_DIR to build the table again")
    selection = read_rows(ROOT / "data" / "selection.csv")
    assert rows_from_release(folder, selection) + read_rows(ROOT / "data" / "other_foods.csv") == table


# --- the table by itself ---------------------------------------------------------------------------------


def amount(row: dict[str, str], column: str) -> Decimal:
    return Decimal(row[column] or 0)


def test_columns_rows_names_and_ids(table: list[dict[str, str]]) -> None:
    assert tuple(table[0]) == COLUMNS
    assert len(table) >= 300
    for column in ("food", "id"):
        values = [row[column].lower() for row in table]
        assert len(set(values)) == len(values)
    assert all(re.fullmatch(r"ndb:\d{5}|other:[a-z0-9-]+|ciqual:\d+", row["id"]) for row in table)
    assert all(row["id"] == f"ndb:{row['source'][-5:]}" for row in table if row["id"].startswith("ndb:"))
    assert all(row["source"] for row in table)


def test_what_a_ratio_needs_is_never_blank(table: list[dict[str, str]]) -> None:
    assert [row["food"] for row in table
            if not all(row[column] for column in ("fat_g", "protein_g", "carbs_g"))] == []


def test_the_parts_do_not_exceed_the_whole(table: list[dict[str, str]]) -> None:
    for row in table:
        parts = ["fat_g", "protein_g", "carbs_g", "water_g", "alcohol_g"]
        if row["carb_basis"] == "available":
            parts.append("fibre_g")
        assert sum(amount(row, part) for part in parts) <= Decimal("100.5"), row["food"]


def test_a_part_does_not_exceed_what_holds_it(table: list[dict[str, str]]) -> None:
    for row in table:
        assert row["carb_basis"] in ("by_difference", "available")
        if row["carb_basis"] == "by_difference":
            assert amount(row, "fibre_g") <= amount(row, "carbs_g"), row["food"]
        assert amount(row, "sugars_g") <= amount(row, "carbs_g") + Decimal("0.5"), row["food"]
        assert amount(row, "erythritol_g") <= amount(row, "polyols_g"), row["food"]
        assert amount(row, "polyols_g") + amount(row, "allulose_g") <= amount(row, "carbs_g"), row["food"]
        if row["fibre_g"]:
            kinds = amount(row, "soluble_fibre_g") + amount(row, "insoluble_fibre_g")
            assert kinds <= amount(row, "fibre_g"), row["food"]


def test_nothing_is_negative_and_every_interval_holds_its_figure(table: list[dict[str, str]]) -> None:
    figures = [column for column in COLUMNS if re.search(r"_(g|mg|kcal|percent)(_low|_high)?$", column)]
    for row in table:
        assert all(amount(row, column) >= 0 for column in figures), row["food"]
        for column in ("fat_g", "protein_g", "fibre_g"):
            if row[f"{column}_low"]:
                low, high = Decimal(row[f"{column}_low"]), Decimal(row[f"{column}_high"])
                assert low <= Decimal(row[column]) <= high, row["food"]


def test_allergens_and_roles_are_of_the_agreed_words(table: list[dict[str, str]]) -> None:
    for row in table:
        words = [word for word in row["allergens"].split(";") if word]
        assert words == ["none"] or set(words) <= ALLERGENS | {"unknown"}, row["food"]
        assert len(set(words)) == len(words), row["food"]
        assert row["role"] in ROLES, row["food"]
    assert {row["role"] for row in table} == ROLES


@pytest.mark.parametrize(("food", "allergen"), [
    ("celeriac, raw", "celery"), ("celery seed", "celery"), ("worcestershire sauce", "fish"),
    ("soy sauce (shoyu)", "gluten"), ("mayonnaise", "eggs"), ("tahini", "sesame"), ("wine, white", "sulphites"),
    ("oats, rolled, dry", "gluten"), ("lupin flour", "lupin"), ("mussels, raw", "molluscs"), ("almonds", "nuts"),
    ("ghee (butter oil, anhydrous)", "milk"),
])
def test_allergens_that_are_easily_overlooked(table: list[dict[str, str]], food: str, allergen: str) -> None:
    [row] = [row for row in table if row["food"] == food]
    assert allergen in row["allergens"].split(";")


@pytest.mark.parametrize("food", ["coconut, fresh, raw", "pine nuts", "butternut squash, raw", "chestnuts, roasted"])
def test_not_every_nut_by_name_is_one_by_law(table: list[dict[str, str]], food: str) -> None:
    [row] = [row for row in table if row["food"] == food]
    assert row["allergens"] == "none"


def test_measures_are_grams_of_one(table: list[dict[str, str]]) -> None:
    for row in table:
        for part in filter(None, row["measures"].split("; ")):
            assert re.fullmatch(r"[a-z][a-z -]*=\d+(\.\d{1,3})?", part), (row["food"], part)
    measures = {row["id"]: row["measures"] for row in table}
    # USDA SR28, WEIGHT: the edible grams of an egg, a spoon of butter, of olive oil, of heavy cream
    egg = dict(part.split("=") for part in measures["ndb:01123"].split("; "))
    assert egg == {"small": "38", "medium": "44", "large": "50", "extra large": "56", "jumbo": "63", "cup": "243"}
    assert "tbsp=14.2" in measures["ndb:01001"].split("; ")
    assert "tbsp=13.5" in measures["ndb:04053"].split("; ")
    assert "tbsp=15" in measures["ndb:01053"].split("; ")


@pytest.mark.parametrize(("number", "figures"), [
    ("01001", "15.87 717 0.85 81.11 0.06 0.0"),
    ("01123", "76.15 143 12.56 9.51 0.72 0.0"),
    ("01053", "57.81 340 2.84 36.08 2.74 0.0"),
    ("12061", "4.41 579 21.15 49.93 21.55 12.5"),
    ("09037", "73.23 160 2.00 14.66 8.53 6.7"),
    ("11457", "91.40 23 2.86 0.39 3.63 2.2"),
    ("16114", "59.65 192 20.29 10.80 7.64 missing"),
])
def test_figures_read_in_the_release(table: list[dict[str, str]], number: str, figures: str) -> None:
    """Water, kcal, protein, fat, carbohydrate, fibre per 100 g, read by eye in USDA SR28 (May 2016)."""
    [row] = [row for row in table if row["id"] == f"ndb:{number}"]
    columns = ("water_g", "energy_kcal", "protein_g", "fat_g", "carbs_g", "fibre_g")
    assert [row[column] for column in columns] == figures.replace("missing", "").split(" ")


def test_pure_substances(table: list[dict[str, str]]) -> None:
    rows = {row["food"]: row for row in table}
    assert rows["erythritol"]["energy_kcal"] == "0"  # Regulation (EU) 1169/2011, Annex XIV
    assert rows["erythritol"]["erythritol_g"] == rows["erythritol"]["polyols_g"] == "100"
    assert rows["allulose"]["energy_kcal"] == "40"  # 0.4 kcal/g, US FDA guidance
    assert rows["MCT oil"]["fat_g"] == "100"


# --- the reader ------------------------------------------------------------------------------------------


@pytest.fixture
def tiny(tmp_path: Path) -> Path:
    """A release of two foods, in the form of the real one."""
    files = {
        "FOOD_DES.txt": [
            '~90001~^~0100~^~Cream "thick", plain~^~CREAM~^^^~Y~^~shell~^12^^6.38^4.27^8.79^3.87',
            "~90002~^~0100~^~Crème~^~CREME~^^^~Y~^^^^6.38^^^",
        ],
        "NUT_DATA.txt": [
            "~90001~^~203~^2.10^4^0.050^~1~^^^^^^^^^^^11/1976^",
            "~90001~^~204~^36.0^2^0.5^~1~^^^^^^^^^^^11/1976^",
            "~90001~^~205~^3.0^0^^~4~^^^^^^^^^^^11/1976^",
            "~90001~^~318~^99^0^^~4~^^^^^^^^^^^11/1976^",
            "~90003~^~203~^50^0^^~4~^^^^^^^^^^^11/1976^",
            "~90002~^~204~^99.95^9^0.1^~1~^^^^^^^^^^^11/1976^",
        ],
        "WEIGHT.txt": [
            "~90001~^1^3^~tablespoon~^45^^",
            '~90001~^2^.5^~cup, whipped (2" deep)~^60^^',
            "~90001~^3^1^~oz~^28.35^^",
        ],
    }
    for name, lines in files.items():
        (tmp_path / name).write_bytes("".join(f"{line}\r\n" for line in lines).encode("cp1252"))
    return tmp_path


def choice(number: str, name: str) -> dict[str, str]:
    return {"food": name, "id": f"ndb:{number}", "role": "dairy", "allergens": "milk"}


def test_rows_hold_the_text_of_the_release(tiny: Path) -> None:
    second, first = rows_from_release(tiny, [choice("90002", "creme"), choice("90001", "cream")])
    assert (second["food"], first["food"]) == ("creme", "cream")
    assert (first["protein_g"], first["fat_g"], first["carbs_g"]) == ("2.10", "36.0", "3.0")
    assert (first["protein_g_low"], first["protein_g_high"]) == ("2.002", "2.198")
    assert (first["fat_g_low"], first["fat_g_high"]) == ("", "")  # two points only
    assert first["fibre_g"] == ""  # missing is not zero
    assert (first["refuse_percent"], second["refuse_percent"]) == ("12", "")
    assert first["measures"] == "tbsp=15; cup whipped=120"
    assert (first["carb_basis"], first["source"]) == ("by_difference", "USDA SR28, NDB 90001")
    assert second["protein_g"] == ""  # the figure of another food does not leak in


def test_an_interval_stays_within_nought_and_a_hundred() -> None:
    assert interval(Figure("99.95", 9, "0.1")) == ("99.754", "100.000")
    assert interval(Figure("0.10", 9, "0.1")) == ("0.000", "0.296")
    assert interval(Figure("5", 9, "")) == ("", "")


@pytest.mark.parametrize(("description", "name"), [
    ("large", "large"), ("cup, chopped", "cup chopped"), ("Tablespoon", "tbsp"), ("fl oz", "fl oz"),
    ("slice (1 oz)", "slice"), ("serving", ""), ("oz", ""), ('stick (1/4 lb)', "stick"), ("cup 8 fl", ""), ("(", ""),
])
def test_names_of_measures(description: str, name: str) -> None:
    assert measure_name(description) == name


def test_unknown_foods_and_missing_files_are_faults(tiny: Path) -> None:
    with pytest.raises(BadInput, match="ndb:90009"):
        rows_from_release(tiny, [choice("90009", "no such food")])
    (tiny / "WEIGHT.txt").unlink()
    with pytest.raises(BadInput, match="WEIGHT"):
        rows_from_release(tiny, [choice("90001", "cream")])


def test_a_table_written_is_read_back(tiny: Path, tmp_path: Path) -> None:
    rows = rows_from_release(tiny, [choice("90001", "cream, thick")])
    path = tmp_path / "table.csv"
    write_table(path, rows)
    assert read_rows(path) == rows
    assert b"\r" not in path.read_bytes()
