"""The card in its other forms and languages: data that say the same, words that are all there, text that stays text."""

from __future__ import annotations

import csv
import json
import os
import re
import shutil
import subprocess
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, card, check, load_foods, read_recipe, recipe_from, solve
from ratio_solver.cli import main
from ratio_solver.tools.card.compute import as_jsonld, duration
from ratio_solver.tools.card.words import Words, words_in
from tests.kitchen import dish, food, table
from tests.tools.test_card import SLICE, SOLVABLE, STRUCTURED, Page

ROOT = Path(__file__).resolve().parent.parent.parent
RELEASE = os.environ.get("SR28_DIR", "")
EVIL = ("</script><b>", "a & b", 'he said "no"', "עוגת שקדים", "🍰 slice", "<!-- x -->")
TOLD: dict[str, Any] = {"author": "The kitchen of Alderwater House", "yield_text": "one tart of 26 cm", "pieces": 2,
                        "times": {"prep": 20, "cook": 75, "rest": 0}, "method": ["Stir.", "Bake."], "note": "Warm."}


def small(**more: Any) -> Any:
    lines = [{"food": "butter, salted", "grams": 100}, {"food": "egg, whole, raw", "grams": 200.5}]
    written = dish(lines, 2, **{"targets": {"ratio": 1.5, "net_carbs": 5}, **TOLD, **more})
    return check(recipe_from(written, load_foods()))


def structured(page: str) -> dict[str, Any]:
    [found] = STRUCTURED.findall(page)
    data: dict[str, Any] = json.loads(found.partition(">")[2].rpartition("<")[0])
    return data


# schema.org as known from memory: Recipe has recipeIngredient (Text), recipeInstructions (HowToStep, with text),
# prepTime, cookTime and totalTime (Duration, ISO 8601), recipeYield (Text), nutrition (NutritionInformation), author
# (Person); NutritionInformation has calories (Energy) and the contents (Mass): text of a number and a unit.
def test_structured_data_in_the_page_and_alone() -> None:
    found = small()
    data = structured(card(found))
    assert data == json.loads(card(found, form="jsonld"))
    assert (data["@context"], data["@type"], data["name"]) == ("https://schema.org", "Recipe", "a dish")
    assert data["author"] == {"@type": "Person", "name": TOLD["author"]}
    assert (data["prepTime"], data["cookTime"], data["totalTime"]) == ("PT20M", "PT1H15M", "PT1H35M")
    assert data["recipeYield"] == TOLD["yield_text"] and data["inLanguage"] == "en"
    assert data["recipeIngredient"] == ["100 g butter, salted", "200.5 g egg, whole, raw"]
    assert [(step["@type"], step["position"], step["text"]) for step in data["recipeInstructions"]] == [
        ("HowToStep", 1, "Stir."), ("HowToStep", 2, "Bake.")]
    nutrition, facts = data["nutrition"], found.per_serving
    assert nutrition["@type"] == "NutritionInformation" and nutrition["servingSize"] == "150.2 g"
    for name, column, unit in (("calories", "energy_kcal", "kcal"), ("fatContent", "fat_g", "g"),
                               ("carbohydrateContent", "carbs_g", "g"), ("proteinContent", "protein_g", "g"),
                               ("sodiumContent", "sodium_mg", "mg"), ("saturatedFatContent", "saturated_g", "g")):
        number, told = nutrition[name].split(" ")
        assert told == unit and float(number) == pytest.approx(facts[column], abs=0.5 if unit != "g" else 0.005)
    assert "Ratio" in data["description"] and "no medical advice" in data["description"]


def test_durations_are_iso_8601() -> None:
    assert [duration(minutes) for minutes in (0, 5, 60, 61, 1500)] == ["PT0M", "PT5M", "PT1H", "PT1H1M", "PT25H"]


@pytest.mark.parametrize("evil", EVIL)
def test_text_stays_text_in_every_form(evil: str) -> None:
    found = small(title=evil, note=evil, author=evil, yield_text=evil, method=[evil])
    page = card(found)
    data = structured(page)
    assert data["name"] == evil and data["author"]["name"] == evil and data["recipeInstructions"][0]["text"] == evil
    assert Page(STRUCTURED.sub("", page)).text.count(evil) == 6  # title twice, author, yield, note, method
    assert json.loads(card(found, form="json"))["title"] == evil
    markdown = card(found, form="md")
    assert re.sub(r"\\([\\`*_\[\]<>#|~&])", r"\1", markdown).count(evil) == 5
    assert not re.search(r"(?<!\\)<", markdown)


def test_what_ends_a_line_of_a_program_is_written_out() -> None:
    text = as_jsonld({"x": "\u2028\u2029</script>&\u202e\x85"})
    assert text.isascii() and "<" not in text and "&" not in text
    assert json.loads(text) == {"x": "\u2028\u2029</script>&\u202e\x85"}


@pytest.mark.parametrize("language", ["de", "fr"])
def test_every_fixed_word_is_in_the_catalogue(language: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is asked for and not found may only be a figure: a number with its unit, or what the cook has written."""
    asked: set[str] = set()
    known = Words.known

    def noted(self: Words, text: str) -> str | None:
        found = known(self, text)
        if found is None:
            asked.add(text)
        return found

    monkeypatch.setattr(Words, "known", noted)
    monkeypatch.setattr(Words, "measure", lambda self, text: text)
    for path in SOLVABLE:
        recipe = read_recipe(path, load_foods())
        for label in ("us", "eu"):
            for one in (solve(recipe), check(recipe)):
                object.__setattr__(one.recipe, "presentation", type(recipe.presentation)(
                    author="A", yield_text="B", times=(("prep", 5), ("cook", 5), ("rest", 5)), language=language))
                card(one, label)
    figure = re.compile(r"[<\d.,/:½¼¾×\s%]*\s?(g|mg|kg|µg|ug|kcal|kJ|min|h)?(\s/\s[\d.]+ kcal)?")
    own = {"A", "B", *(item.label for path in SOLVABLE for item in read_recipe(path, load_foods()).ingredients)}
    left = {text for text in asked - own if not figure.fullmatch(text) and not set(text.split(", ")) <= own}
    assert {text for text in left if not text.startswith(LEFT_IN_ENGLISH)} == set()


LEFT_IN_ENGLISH = ("Contains: ", "They follow the list of Regulation")
"""What a US label says, in the words of its law, and whose list its allergens follow."""


def test_decimals_have_the_sign_of_the_language() -> None:
    pages = {one: Page(STRUCTURED.sub("", card(small(language=one), "eu"))) for one in ("en", "de", "fr")}
    assert pages["en"].values["egg, whole, raw"] == "200.5"
    assert pages["de"].values["egg, whole, raw"] == pages["fr"].values["egg, whole, raw"] == "200,5"
    assert pages["de"].tables["nutrition"][1][0] == "Kohlenhydrate gesamt"
    assert pages["de"].tables["declared"][3][0] == "davon gesättigte Fettsäuren"
    assert "Eier, Milch" in pages["de"].text and "œufs, lait" in pages["fr"].text
    assert "Gegenanzeigen" in pages["de"].text and "contre-indications" in pages["fr"].text
    for one in pages.values():
        numbers = re.findall(r"\d+", " ".join(cell for row in one.tables["nutrition"] for cell in row))
        assert numbers == re.findall(r"\d+", " ".join(c for row in pages["en"].tables["nutrition"] for c in row))


def test_no_word_of_the_catalogue_loses_its_places() -> None:
    with (ROOT / "data/words.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            assert all(row.values()), row["en"]
            assert len({tuple(sorted(re.findall(r"\{\d\}", text))) for text in row.values()}) == 1, row["en"]
    assert words_in("de")("at most 2.3 g") == "höchstens 2,3 g"


def test_names_read_as_one_says_them(tmp_path: Path) -> None:
    own = table(tmp_path, food("psyllium husk powder", 1, 2, 80, 78), food("lamb, minced", 20, 18), food("oil", 100))
    page = Page(STRUCTURED.sub("", card(check(recipe_from(dish([
        {"food": "psyllium husk powder", "label": "psyllium", "grams": 5},
        {"food": "lamb, minced", "label": "minced lamb", "grams": 50}, {"food": "oil", "grams": 1}]), own)))))
    rows = [row[0] for row in page.tables["ingredients"]]
    assert "psyllium" in rows and "psyllium husk powder" in " ".join(page.text.split()) and "minced lamb" in rows
    assert "psyllium psyllium" not in page.text and "lamb, minced" not in page.text.split("Source")[0]


def test_the_traditional_dish_stands_beside_this_one_in_text() -> None:
    """Bars are a picture of what stands in the table; a reader of the page by ear misses nothing."""
    recipe = read_recipe(SLICE, load_foods())
    found = solve(recipe)
    page = Page(STRUCTURED.sub("", card(found)))
    start = check(recipe).facts
    rows = {row[0]: row[1:] for row in page.tables["compared"]}
    assert rows["net carbs"] == [f"{float(start.amounts['net_carbs_g']):.2f} g", page.values["net carbs"]]
    assert rows["ratio"][1] == page.values["ratio"]
    assert all(attrs["aria-hidden"] == "true" for tag, attrs in page.tags if tag == "svg")
    assert {row[0] for row in page.tables["limits"]} >= {"ratio", "net carbs"}
    assert "compared" not in Page(STRUCTURED.sub("", card(check(recipe)))).tables


def test_pieces_and_100_g_are_shares_of_a_serving() -> None:
    """100.25 g in a piece, 2 pieces in a serving of 150.25 g: fat 81.11 + 0.0951 x 200.5 over two servings."""
    rows = {row[0]: row[1:] for row in Page(STRUCTURED.sub("", card(small()))).tables["nutrition"]}
    fat = (Decimal("81.11") + Decimal("9.51") * Decimal("2.005")) / 2
    shown = [Decimal(cell.removesuffix(" g")) for cell in rows["fat"]]
    assert shown == [round(fat, 2), round(fat / 2, 2), round(fat / Decimal("1.5025"), 2)]


def picture(folder: Path, size: tuple[int, int]) -> Path:
    image = pytest.importorskip("PIL.Image")
    path = folder / "photo.png"
    pixels = image.effect_noise(size, 90)
    pixels.convert("RGB").save(path)
    return path


def test_a_photo_is_inside_the_page_and_scaled(tmp_path: Path) -> None:
    photo = picture(tmp_path, (60, 40))
    page = card(small(photo=str(photo)))
    [address] = re.findall(r'<img class="photo" src="(data:image/png;base64,[^"]+)" alt="Photo: a dish">', page)
    assert len(address) < 300_000
    large = picture(tmp_path, (1600, 1200))
    assert large.stat().st_size > 300_000
    page = card(small(photo=str(large)))
    [address] = re.findall(r'src="(data:image/jpeg;base64,[^"]+)"', page)
    assert len(address) * 3 / 4 <= 300_100


def test_a_photo_that_is_none_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "no.jpg").write_text("words", encoding="utf-8")
    for name, words in (("no.jpg", "expected a picture"), ("gone.jpg", "cannot be read")):
        with pytest.raises(BadInput, match=words):
            card(small(photo=str(tmp_path / name)))


def test_structured_data_say_the_formula_the_serving_as_eaten_and_no_missed_limit_as_kept() -> None:
    """Butter has 0.06 g of carbs in 100 g and egg 0.72 (NDB 01001, 01123): 0.7518 g a serving, more than 0.75."""
    found = small(finished_grams=240, targets={"net_carbs": 0.75}, policy={"ratio_formula": "total"})
    data = json.loads(card(found, form="jsonld"))
    assert "(fat : protein + total carbs)" in data["description"] and "0.752 g a serving" in data["description"]
    assert data["nutrition"]["servingSize"] == "120 g"


def test_forms_and_measures_on_the_command_line(tmp_path: Path) -> None:
    for form in ("html", "md", "json", "jsonld"):
        done = CliRunner().invoke(main, ["card", str(SLICE), "--format", form, "--measures"])
        assert done.exit_code == 0 and done.stdout, form
    data = json.loads(CliRunner().invoke(main, ["card", str(SLICE), "--format", "json", "--label", "us"]).stdout)
    assert data["tables"][0]["id"] == "foods" and {"name": "ratio", "value": "3.2:1"} in data["claims"]
    measured = Page(STRUCTURED.sub("", CliRunner().invoke(main, ["card", str(SLICE), "--measures"]).stdout))
    told = {row[0]: row[1] for row in measured.tables["ingredients"] if len(row) == 3}
    assert told["butter"] == "about 2½\u00a0tbsp"  # 36 g; 14.2 g the tablespoon


@pytest.mark.parametrize(("key", "value", "words"), [
    ("language", "xx", "expected one of en, de, fr"), ("times", {"prep": -1}, "times.prep"),
    ("times", {"boil": 3}, "boil"),
    ("author", 3, "expected a text"), ("percent_of", ["wax"], "expected the label of an ingredient"),
])
def test_keys_of_the_card_have_faults(key: str, value: object, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        recipe_from(dish([{"food": "salt", "grams": 1}], **{key: value}), load_foods())


# --- a reader who gets only the card recomputes its figures ---

@pytest.mark.parametrize("name", ["celeriac-gratin", "moussaka"])
def test_a_reader_of_the_card_alone_finds_its_figures(name: str) -> None:
    """Grams and NDB numbers are read from the page, the composition from the files of the release."""
    if not RELEASE or not Path(RELEASE).is_dir():
        pytest.skip("SR28_DIR names no folder of the release")
    page = Page(STRUCTURED.sub("", CliRunner().invoke(main, ["card", str(ROOT / f"examples/{name}.toml")]).stdout))
    *told, _ = re.split(r" NDB ([0-9]{5})(?:, |\. ?)", page.text.split("USDA SR28: ")[1])
    numbers = dict(zip(told[::2], told[1::2], strict=True))
    food_of: dict[str, dict[str, Decimal]] = {number: {} for number in numbers.values()}
    with (Path(RELEASE) / "NUT_DATA.txt").open(encoding="cp1252") as file:
        for record in csv.reader(file, delimiter="^", quotechar="~"):
            if record[0] in food_of and record[1] in ("203", "204", "205", "291"):
                food_of[record[0]][record[1]] = Decimal(record[2])
    servings = Decimal(re.findall(r"(\d+) servings of", page.text)[0])
    sums = dict.fromkeys(("203", "204", "205", "291"), Decimal(0))
    labels = "|".join(map(re.escape, numbers))
    yields = dict(re.findall(rf"({labels}) [^0-9]*weighed prepared, yield ([0-9.]+)", page.text))
    weighed = {row[0]: row[-1] for row in page.tables["ingredients"][1:] if row[0] in numbers}
    assert weighed.keys() == numbers.keys()
    for label, grams in weighed.items():
        line = yields.get(label, "1")
        for nutrient, amount in food_of[numbers[label]].items():
            sums[nutrient] += amount * Decimal(grams) / 100 / Decimal(line) / servings
    printed = {"203": "protein", "204": "fat", "205": "total carbs", "291": "fibre"}
    for nutrient, amount in sums.items():
        assert abs(Decimal(page.values[printed[nutrient]].removesuffix(" g")) - amount) <= Decimal("0.00501"), nutrient
    ratio = sums["204"] / (sums["203"] + sums["205"] - sums["291"])
    assert page.values["ratio"] == f"{int(ratio * 10) / 10:.1f}:1"


# --- pages as browsers and their readers take them ---

def test_pages_parse_without_a_fault() -> None:
    html5lib = pytest.importorskip("html5lib")
    for label in ("none", "us", "eu"):
        html5lib.HTMLParser(strict=True).parse(card(small(language="fr"), label))


def test_no_violation_of_accessibility(tmp_path: Path) -> None:
    """axe-core (npm) in headless chromium; AXE_CORE names its axe.min.js."""
    axe, chromium = os.environ.get("AXE_CORE", "node_modules/axe-core/axe.min.js"), shutil.which("chromium")
    if not Path(axe).is_file() or chromium is None:
        pytest.skip("axe-core or chromium is not here")
    assert violations(card(small(language="de"), "us"), Path(axe), chromium, tmp_path) == []


def violations(page: str, axe: Path, chromium: str, folder: Path) -> list[str]:
    """Ids of the rules that a page breaks, as axe-core finds them."""
    script = (f"<script>{axe.read_text(encoding='utf-8')}</script><script>axe.run().then(found => "
              "document.body.setAttribute('data-found', found.violations.map(one => one.id).join(' ') || 'none'))"
              "</script>")
    path = folder / "checked.html"
    path.write_text(page.replace("</body>", f"{script}</body>"), encoding="utf-8")
    done = subprocess.run([chromium, "--headless", "--no-sandbox", "--virtual-time-budget=20000", "--dump-dom",
                           path.as_uri()], capture_output=True, text=True, timeout=110, check=False)
    [found] = re.findall(r'data-found="([^"]*)"', done.stdout)
    return [] if found == "none" else found.split()
