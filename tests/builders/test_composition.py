"""The bundled table against the release it was taken from, and the reader on a tiny release."""

from __future__ import annotations

import csv
import os
import re
from decimal import Decimal
from pathlib import Path

import pytest
from scipy.stats import t

from ratio_solver.errors import BadInput
from tools.composition.__main__ import main
from tools.composition.intervals import food_interval, mean_interval
from tools.composition.measures import measure_name
from tools.composition.release import Figure, read_release
from tools.composition.table import COLUMNS, Row, read_rows, release_row, rows_of, with_other_figures, write_table

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
    "chocolate", "seaweed", "supplement",
}

NUMBERS = {
    "protein_g": "203", "fat_g": "204", "carbs_g": "205", "energy_kcal": "208", "fibre_g": "291",
    "water_g": "255", "ash_g": "207", "sugars_g": "269", "starch_g": "209", "alcohol_g": "221", "sodium_mg": "307",
    "potassium_mg": "306", "magnesium_mg": "304", "calcium_mg": "301", "phosphorus_mg": "305", "iron_mg": "303",
    "zinc_mg": "309", "selenium_ug": "317", "vitamin_d_ug": "328", "vitamin_a_ug": "320", "retinol_ug": "319",
    "cholesterol_mg": "601", "saturated_g": "606", "trans_g": "605", "caprylic_g": "609", "capric_g": "610",
}
"""Nutrient numbers of the release (its NUTR_DEF), written here a second time on purpose."""

WITH_INTERVAL = ("fat_g", "protein_g", "fibre_g", "water_g", "ash_g", "alcohol_g", "sugars_g", "saturated_g",
                 "sodium_mg")


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


def test_erucic_acid_is_the_cis_form_where_the_release_has_it(
    table: list[dict[str, str]], release: dict[tuple[str, str], list[str]]
) -> None:
    """22:1 c (676), else 22:1 undifferentiated (630)."""
    for number, row in numbered(table):
        fields = release.get((number, "676")) or release.get((number, "630")) or ["", "", ""]
        assert row["erucic_g"] == fields[2], row["food"]


def test_numbers_and_names_of_the_nutrients() -> None:
    """The release's own names of the numbers above, in its NUTR_DEF."""
    folder = release_folder()
    if folder is None:
        pytest.skip("the release is not here: name its folder in SR28_DIR to compare the table with it")
    lines = (folder / "NUTR_DEF.txt").read_text(encoding="cp1252").splitlines()
    defined = [[field.strip("~") for field in line.split("^")] for line in lines]
    units = {fields[0]: fields[1].replace("µ", "u") for fields in defined}
    names = {fields[0]: fields[3] for fields in defined}
    assert all(units[number] == column.rpartition("_")[2] for column, number in NUMBERS.items())
    told = [names[number] for number in ("207", "209", "305", "328", "320", "319", "601", "605", "609", "610", "676")]
    assert told == [
        "Ash", "Starch", "Phosphorus, P", "Vitamin D (D2 + D3)", "Vitamin A, RAE", "Retinol", "Cholesterol",
        "Fatty acids, total trans", "8:0", "10:0", "22:1 c"]


def ends_by_the_release(fields: list[str], most: float) -> list[tuple[float, float] | None]:
    """The mean's interval and the one food's, from the fields of NUT_DATA as its documentation numbers them.

    The prediction interval of one more sample: mean +- t(0.975, n - 1) s sqrt(1 + 1/n) with s = SE sqrt(n).
    """
    mean, points, error = float(fields[2]), int(fields[3]), float(fields[4] or 0)
    least, greatest, freedom, lower, upper = fields[10:15]
    about: tuple[float, float] | None = None
    pairs = []
    if lower and upper:
        about = float(lower), float(upper)
    elif error > 0 and points > 1:
        reach = float(t.ppf(0.975, float(freedom) if freedom else points - 1)) * error
        about = mean - reach, mean + reach
    if about:
        pairs.append(about)
    if error > 0 and points > 1:
        reach = float(t.ppf(0.975, points - 1)) * error * (points + 1) ** 0.5
        pairs.append((mean - reach, mean + reach))
    if least and greatest:
        pairs.append((float(least), float(greatest)))

    def held(ends: tuple[float, float]) -> tuple[float, float]:
        return max(0.0, min(ends[0], mean)), max(mean, min(ends[1], most))

    return [held(about) if about else None,
            held((min(low for low, _ in pairs), max(high for _, high in pairs))) if pairs else None]


def test_every_end_of_an_interval_follows_from_the_release(
    table: list[dict[str, str]], release: dict[tuple[str, str], list[str]]
) -> None:
    """Its own bounds, else t quantiles of its standard error; never narrower, and at most a thousandth wider."""
    count, wrong = 0, []
    for number, row in numbered(table):
        for column in WITH_INTERVAL:
            fields = release.get((number, NUMBERS[column]))
            most = 100.0 if column.endswith("_g") else float("inf")
            expected = ends_by_the_release(fields, most) if fields else [None] * 2
            for (low, high), ends in zip((("low", "high"), ("lowest", "highest")), expected, strict=True):
                cells = row[f"{column}_{low}"], row[f"{column}_{high}"]
                if ends is None:
                    good = cells == ("", "")
                else:
                    count += 2
                    outward = ends[0] - float(cells[0] or -9), float(cells[1] or 999) - ends[1]
                    good = all(-1e-9 <= step < 0.001 + 1e-9 for step in outward)
                if not good:
                    wrong.append((row["food"], column, cells, ends))
    assert wrong == []
    assert count > 10_000


def test_bounds_of_the_release_are_t_quantiles_of_its_degrees_of_freedom(
    release: dict[tuple[str, str], list[str]]
) -> None:
    """What is done where it gives no bounds is what it does itself: their half width over SE is t(0.975, DF)."""
    ratios = sorted(
        (float(f[14]) - float(f[13])) / 2 / float(f[4]) / float(t.ppf(0.975, float(f[12])))
        for f in release.values() if f[13] and f[14] and f[12] and float(f[4] or 0) > 0.05)
    assert len(ratios) > 1000
    assert ratios[len(ratios) // 20] > 0.98 and ratios[-len(ratios) // 20] < 1.02  # SE has 3 decimals


@pytest.fixture(scope="module")
def overrides() -> dict[str, dict[str, str]]:
    """Rows of the selection with a share of refuse of their own, by food number."""
    with TABLE.with_name("selection.csv").open(encoding="utf-8", newline="") as file:
        return {row["id"].removeprefix("ndb:"): row for row in csv.DictReader(file) if row["refuse_percent"]}


@pytest.fixture(scope="module")
def descriptions() -> dict[str, list[str]]:
    """Fields of every food of the release by its number: 7 describes the refuse, 8 is its share."""
    folder = release_folder()
    if folder is None:
        pytest.skip("the release is not here: name its folder in SR28_DIR to compare the table with it")
    lines = (folder / "FOOD_DES.txt").read_text(encoding="cp1252").splitlines()
    return {fields[0]: fields for line in lines if (fields := [part.strip("~") for part in line.split("^")])}


def test_refuse_is_the_release_s_own_but_where_the_selection_says_why(
    table: list[dict[str, str]], overrides: dict[str, dict[str, str]], descriptions: dict[str, list[str]]
) -> None:
    for number, row in numbered(table):
        if row["id"].startswith("ndb:"):
            own = overrides.get(number)
            assert row["refuse_percent"] == (own["refuse_percent"] if own else descriptions[number][8]), row["food"]
            assert not own or (own["refuse_why"] and own["refuse_percent"] != descriptions[number][8]), row["food"]


def test_nuts_seeds_and_meats_come_as_a_cook_buys_them(
    table: list[dict[str, str]], descriptions: dict[str, list[str]]
) -> None:
    """What the release counts as shell, hull or bone: shelled kernels have none of it, and bone counts once.

    Whole birds stripped of skin and fat, a fresh coconut and roasted chestnuts are bought with what is thrown away
    (common practice, no source).
    """
    whole = {"coconut, fresh, raw", "chestnuts, roasted"}
    for number, row in numbered(table):
        if row["role"] in ("nut", "seed") and row["food"] not in whole:
            assert float(row["refuse_percent"] or 0) == 0, row["food"]
        if row["role"] in ("meat", "poultry") and row["id"].startswith("ndb:"):
            told = re.findall(r"(bone[a-z ]*?)\s*(\d+)\s*%", descriptions[number][7].lower())
            assert len(told) < 2 or float(row["refuse_percent"]) <= max(float(share) for _, share in told), row["food"]
        if "skinless" in row["food"]:
            assert row["refuse_percent"] == "0", row["food"]


def test_the_table_is_what_the_selection_gives(table: list[dict[str, str]]) -> None:
    folder = release_folder()
    if folder is None:
        pytest.skip("the release is not here: name its folder in SR28_DIR to build the table again")
    assert rows_of(ROOT / "data", folder) == table


# --- the table by itself ---------------------------------------------------------------------------------


def amount(row: dict[str, str], column: str) -> Decimal:
    return Decimal(row[column].removeprefix("< ") or 0)


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
        assert amount(row, "saturated_g") <= amount(row, "fat_g") + Decimal("0.5"), row["food"]
        assert amount(row, "sugars_g") <= amount(row, "carbs_g") + Decimal("0.5"), row["food"]
        assert amount(row, "erythritol_g") <= amount(row, "polyols_g"), row["food"]
        assert amount(row, "polyols_g") + amount(row, "allulose_g") <= amount(row, "carbs_g"), row["food"]
        if row["fibre_g"]:
            kinds = amount(row, "soluble_fibre_g") + amount(row, "insoluble_fibre_g")
            assert kinds <= amount(row, "fibre_g"), row["food"]


def test_nothing_is_negative_and_every_interval_holds_its_figure(table: list[dict[str, str]]) -> None:
    figures = [column for column in COLUMNS
               if re.search(r"_(g|mg|ug|kcal|percent)(_low|_high|_lowest|_highest)?$", column)]
    # 16: kinds of fibre, substances, MCT; 2: ends of carbohydrate; 1: refuse
    assert len(figures) == 27 + 16 + 4 * len(WITH_INTERVAL) + 2 + 1
    for row in table:
        assert all(amount(row, column) >= 0 for column in figures), row["food"]
        for column in WITH_INTERVAL:
            ends = [row[f"{column}_{end}"] for end in ("lowest", "low", "high", "highest")]
            known = [Decimal(cell) for cell in (*ends[:2], row[column], *ends[2:]) if cell and "<" not in cell]
            assert known == sorted(known), (row["food"], column)
            assert not column.endswith("_g") or all(end <= 100 for end in known)
            both = bool(ends[0]) == bool(ends[3]) and bool(ends[1]) == bool(ends[2])
            assert both or row["id"].startswith("ciqual:"), row["food"]  # a limit of detection is one end


STAPLES = ("sugars_g", "saturated_g", "sodium_mg")
NOT_KNOWN = {
    "sodium_mg": "psyllium-husk-powder inulin-powder oat-fibre bamboo-fibre resistant-dextrin-powder xanthan-gum "
    "glucomannan konjac-noodles coconut-flour chestnut-flour whey-protein-isolate-unflavoured "
    "micellar-casein-powder-unflavoured pea-protein-isolate collagen-hydrolysate-powder halloumi paneer manchego "
    "burrata coconut-aminos imo-powder imo-syrup single-cream macadamia-oil locust-bean-gum stilton pecorino-romano "
    "taleggio labneh uk-back-bacon uk-bacon-grilled marrow-vegetable-raw",
    "sugars_g": "allulose sucralose-pure potato-starch imo-powder imo-syrup", "saturated_g": "",
}


def test_staples_have_a_figure_with_a_source_or_a_bound_or_are_not_known(table: list[dict[str, str]]) -> None:
    rows = [row for row in table if row["id"].startswith("other:")]
    for column in STAPLES:
        blank = {row["id"].removeprefix("other:") for row in rows
                 if not row[column] and not row["source"].startswith("USDA SR28")}
        assert blank == set(NOT_KNOWN[column].split()), column
    figures = read_rows(ROOT / "data" / "other_figures.csv")
    assert all(line["source"] for line in figures)
    by_id = {row["id"]: row for row in rows}
    for line in figures:
        assert line["source"] in by_id[line["id"]]["source"]
        if line["figure"].startswith("< "):  # no more than what it is part of
            whole = {"saturated_g": "fat_g", "sugars_g": "carbs_g"}[line["column"]]
            assert Decimal(line["figure"][2:]) == amount(by_id[line["id"]], whole), line


def test_figures_taken_from_another_food_are_that_food_s(release: dict[tuple[str, str], list[str]]) -> None:
    """Sodium and the like of the food cited; of fatty acids its share of the fat."""
    checked = 0
    rows = {row["id"]: row for row in read_rows(ROOT / "data" / "other_foods.csv")}
    for line in read_rows(ROOT / "data" / "other_figures.csv"):
        if match := re.search(r"USDA SR28, NDB (\d{5})", line["source"]):
            cited = Decimal(release[match[1], NUMBERS[line["column"]]][2])
            if "share" in line["source"]:
                share = cited / Decimal(release[match[1], "204"][2])
                percent = re.search(r"share[^%]*?([\d.]+) %", line["source"])
                assert percent and abs(Decimal(percent[1]) - 100 * share) < Decimal("0.05"), line
                cited = share * Decimal(rows[line["id"]]["fat_g"])
                assert abs(Decimal(line["figure"]) - cited) <= Decimal("0.05"), line
            else:
                assert Decimal(line["figure"]) == cited, line
            checked += 1
    assert checked >= 15


def test_allergens_and_roles_are_of_the_agreed_words(table: list[dict[str, str]]) -> None:
    for row in table:
        words = row["allergens"].split(";")
        assert words in (["none"], [""]) or set(words[:-1]) | ({words[-1]} - {"unknown"}) <= ALLERGENS, row["food"]
        assert len(set(words)) == len(words) and words != ["unknown"], row["food"]
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
            "~90001~^~204~^36.0^2^0.5^~1~^^^^1^35.5^36.5^1^35.200^36.900^~2~^11/1976^",
            "~90001~^~255~^57.8^2^^~1~^^^^1^57.1^58.2^^^^^11/1976^",
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
    for name, header in (("most.csv", "id,food,most_per_serving,most_because"), ("also.csv", "id,names"),
                         ("use.csv", "id,food,use")):
        (tmp_path / name).write_text(f"{header}\n", encoding="utf-8")
    for name, lines in files.items():
        (tmp_path / name).write_bytes("".join(f"{line}\r\n" for line in lines).encode("cp1252"))
    return tmp_path


def choice(number: str, name: str) -> dict[str, str]:
    return {"food": name, "id": f"ndb:{number}", "role": "dairy", "allergens": "milk"}


def rows_from_release(folder: Path, selection: list[dict[str, str]]) -> list[Row]:
    numbers = [choice["id"][4:] for choice in selection]
    foods = read_release(folder, frozenset(numbers))
    return [release_row(foods[number], choice) for number, choice in zip(numbers, selection, strict=True)]


def test_rows_hold_the_text_of_the_release(tiny: Path) -> None:
    second, first = rows_from_release(tiny, [choice("90002", "creme"), choice("90001", "cream")])
    assert (second["food"], first["food"]) == ("creme", "cream")
    assert (first["protein_g"], first["fat_g"], first["carbs_g"]) == ("2.10", "36.0", "3.0")
    # t(0.975, 3) = 3.182 (any table of Student's t): 2.10 -+ 0.159; with sqrt(5) for one more sample 2.10 -+ 0.356
    assert (first["protein_g_low"], first["protein_g_high"]) == ("1.940", "2.260")
    assert (first["protein_g_lowest"], first["protein_g_highest"]) == ("1.744", "2.456")
    # the release's own bounds; the least and most that was measured
    assert [first[f"fat_g_{end}"] for end in ("low", "high", "lowest", "highest")] == [
        "35.200", "36.900", "24.996", "47.004"]
    assert [first[f"water_g_{end}"] for end in ("low", "high", "lowest", "highest")] == ["", "", "57.100", "58.200"]
    assert first["fibre_g"] == ""  # missing is not zero
    assert (first["refuse_percent"], second["refuse_percent"]) == ("12", "")
    assert first["measures"] == "tbsp=15; cup whipped=120"
    assert (first["carb_basis"], first["source"]) == ("by_difference", "USDA SR28, NDB 90001")
    assert second["protein_g"] == ""  # the figure of another food does not leak in


def test_an_interval_stays_within_nought_and_a_hundred() -> None:
    hundred = Decimal(100)
    assert mean_interval(Figure("99.95", 9, "0.1"), hundred) == ("99.719", "100.000")  # t(0.975, 8) = 2.306
    assert mean_interval(Figure("0.10", 9, "0.1"), hundred) == ("0.000", "0.331")
    assert mean_interval(Figure("500", 9, "100"), None)[1] == "730.601"
    assert mean_interval(Figure("5", 9, ""), hundred) == food_interval(Figure("5", 9, ""), hundred) == ("", "")
    assert mean_interval(Figure("5", 9, "0.000"), hundred) == ("", "")  # rounded away, or samples alike: none
    assert food_interval(Figure("5", 1, "", "4.5", "5.5"), hundred) == ("4.500", "5.500")


def test_an_interval_holds_a_figure_that_the_release_rounds_out_of_it() -> None:
    figure = Figure("2", 11, "0.131", "0", "5", 7.0, ("1.293", "1.912"))  # sodium of a drink, NDB 14209
    assert mean_interval(figure, None) == ("1.293", "2.000")


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


def test_the_command_writes_the_table_whole_or_not_at_all(tiny: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_table(tiny / "other_foods.csv", [{"food": "salt of the sea", "id": "other:salt", "source": "from memory"}])
    (tiny / "other_figures.csv").write_text("id,column,figure,source\n", encoding="utf-8")
    (tiny / "selection.csv").write_text("food,id,role,allergens\ncream,ndb:90001,dairy,milk\n", encoding="utf-8")
    assert main([str(tiny), str(tiny)]) == 0
    assert [row["food"] for row in read_rows(tiny / "foods.csv")] == ["cream", "salt of the sea"]
    (tiny / "foods.csv").unlink()
    (tiny / "NUT_DATA.txt").unlink()
    assert main([str(tiny), str(tiny)]) == 1
    assert "NUT_DATA" in capsys.readouterr().err
    assert not (tiny / "foods.csv").exists()
    assert main([]) == 2


def test_a_single_figure_goes_into_a_blank_cell_and_is_told_of(tmp_path: Path) -> None:
    path = tmp_path / "other_figures.csv"
    rows = [dict.fromkeys(COLUMNS, "") | {"id": "other:salt", "source": "by definition", "fat_g": "0"}]
    path.write_text('id,column,figure,source\nother:salt,sodium_mg,39300,a table\nother:salt,trans_g,< 0.1,a table\n',
                    encoding="utf-8")
    [row] = with_other_figures(rows, tmp_path)
    assert (row["sodium_mg"], row["trans_g"]) == ("39300", "< 0.1")
    assert row["source"] == "by definition; sodium, trans fat: a table"
    path.write_text("id,column,figure,source\nother:salt,fat_g,1,a table\nother:sugar,fat_g,1,a table\n",
                    encoding="utf-8")
    with pytest.raises(BadInput) as bad:
        with_other_figures(rows, tmp_path)
    assert len(bad.value.faults) == 2


def test_a_row_that_cites_the_release_has_its_figures_and_keeps_its_own(tiny: Path) -> None:
    write_table(tiny / "selection.csv", [])
    (tiny / "selection.csv").write_text("food,id,role,allergens\n", encoding="utf-8")
    (tiny / "other_figures.csv").write_text("id,column,figure,source\n", encoding="utf-8")
    write_table(tiny / "other_foods.csv", [{"food": "whipped", "id": "other:whipped", "fat_g": "35",
                                            "source": "USDA SR28, NDB 90001 (cream)"}])
    [row] = rows_of(tiny, tiny)
    assert (row["fat_g"], row["protein_g"], row["protein_g_low"]) == ("35", "2.10", "1.940")
    assert (row["refuse_percent"], row["measures"]) == ("", "")
