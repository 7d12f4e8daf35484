"""The card: well-formed and harmless, its figures those of `solve`, the same bytes every time."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from ratio_solver import BadInput, card, check, load_foods, read_recipe, recipe_from, solve
from ratio_solver.cli import main
from ratio_solver.dish.cautions import STRONG_CAUTION, WHOLE
from ratio_solver.dish.constraints import Limit
from ratio_solver.dish.status import LimitState
from ratio_solver.output.numbers import ratio
from ratio_solver.tools.card.content import measure_beside
from tests.kitchen import dish, food, table

ROOT = Path(__file__).resolve().parent.parent.parent
SLICE, IMPOSSIBLE = ROOT / "examples/mascarpone-slice.toml", ROOT / "examples/impossible-dumplings.toml"
SOLVABLE = sorted(p for p in ROOT.glob("examples/*.toml") if p.stem not in ("impossible-dumplings", "stuffed-peppers"))
VOID = {"meta", "br", "link", "img", "hr", "input"}
STRUCTURED = re.compile(r'<script type="application/ld\+json">[^<>&]*</script>')
ALLOWED = {"html", "head", "meta", "title", "style", "body", "header", "main", "footer", "section", "div", "span", "h1",
           "h2", "p", "strong", "table", "thead", "tbody", "tfoot", "tr", "th", "td", "ol", "li", "svg", "rect",
           "path", "script"}


class Page(HTMLParser):
    """Checks that every tag is closed in its turn; collects tags, attributes, texts and the rows of the tables."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.rows: list[list[str]] = []
        self.tables: dict[str, list[list[str]]] = {}
        self.feed(html)
        self.close()
        assert not self.open, self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)
        if tag == "table":
            self.tables[str(dict(attrs).get("aria-labelledby"))] = self.table = []
        if tag == "tr":
            self.rows.append([])
            self.table.append(self.rows[-1])
        if tag in ("th", "td"):
            self.rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open.pop() == tag, f"</{tag}> closes {self.open}"

    def handle_data(self, data: str) -> None:
        self.texts.append(data)
        if self.open and self.open[-1] in ("th", "td"):
            self.rows[-1][-1] = (self.rows[-1][-1] + data).strip(" \n")

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())

    @property
    def values(self) -> dict[str, str]:
        """Label of an ingredient -> its grams; name of a fact -> that of a serving."""
        weighed = {row[0]: row[-1] for row in self.tables["ingredients"] if len(row) > 1}
        return weighed | {row[0]: row[1] for row in self.tables["nutrition"]}


    @property
    def label(self) -> dict[str, list[str]]:
        """Rows of the label: name -> a serving, and the other column."""
        return {row[0]: row[1:] for row in self.tables["declared"]}


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, arguments)


def solved(path: Path, *options: str) -> dict[str, Any]:
    data: dict[str, Any] = json.loads(run("solve", str(path), *options, "--format", "json").stdout)
    return data


def cut(value: float) -> str:
    """A ratio cut to one decimal (a double within 1e-9 of a tenth is that tenth)."""
    return f"{int(value * 10 + 1e-8) / 10:.1f}:1"


@pytest.mark.parametrize("path", SOLVABLE, ids=lambda p: p.stem)
def test_figures_are_those_of_solve(path: Path) -> None:
    page, data = Page(run("card", str(path)).stdout), solved(path)
    facts, values = data["per_serving"], page.values
    for name, column in (("total carbs", "carbs_g"), ("fibre", "fibre_g"), ("net carbs", "net_carbs_g"),
                         ("fat", "fat_g"), ("protein", "protein_g")):
        assert values[name].endswith(" g") and abs(float(values[name].split()[0]) - facts[column]) <= 0.005001, name
    assert abs(float(values["energy"].split()[0]) - facts["energy_kcal"]) <= 0.50001
    assert values["ratio"] == cut(facts["ratio"])
    for weight in data["weights"]:
        if weight["grams"]:
            assert abs(float(values[weight["ingredient"]]) - weight["grams"]) <= 0.005001, weight
        else:
            assert weight["ingredient"] not in values, "left out, so not on the card"
    assert ", ".join(data["allergens"]) in page.text
    for caution in (*data["cautions"], *data["warnings"]):
        assert caution.removeprefix("allergens are ") in page.text  # said under the heading of the allergens
    assert data["policy"]["described"] in page.text
    total = sum(weight["grams"] for weight in data["weights"])
    assert float(values["whole batch"]) == pytest.approx(total, abs=0.0501)


def test_weights_are_on_the_steps_unless_exact() -> None:
    whole, exact = Page(run("card", str(SLICE)).stdout), Page(run("card", str(SLICE), "--exact").stdout)
    assert whole.values["erythritol"].isdigit()
    assert float(exact.values["erythritol"]) == pytest.approx(
        next(w["grams"] for w in solved(SLICE, "--exact")["weights"] if w["ingredient"] == "erythritol"), abs=0.00501)
    assert not exact.values["erythritol"].isdigit()


def test_the_strong_caution_from_three_to_one() -> None:
    page = Page(run("card", str(SLICE)).stdout)
    assert all(caution in page.text for caution in (*WHOLE, STRONG_CAUTION))
    milder = Page(run("card", str(ROOT / "examples/salmon-soup.toml")).stdout)
    assert all(caution in milder.text for caution in WHOLE) and STRONG_CAUTION not in milder.text


def test_pieces_and_servings() -> None:
    """158.2 g a serving in 2 pieces: 79.1 g each."""
    data, page = solved(SLICE), Page(run("card", str(SLICE)).stdout)
    each = data["per_serving"]["weight_g"]
    found = re.search(r"8 servings of ([\d.]+) g, 2 pieces each, ([\d.]+) g a piece", page.text)
    assert found
    assert float(found[1]) == pytest.approx(each, abs=0.0501)
    assert float(found[2]) == pytest.approx(each / 2, abs=0.0501)


def test_a_cooked_piece_is_told_cooked() -> None:
    """200 g lose a quarter: 75 g a serving, 37.5 g a piece."""
    written = dish([{"food": "egg, whole, raw", "grams": 200}], 2, pieces=2, cooking_loss=0.25)
    page = Page(card(check(recipe_from(written, load_foods()))))
    assert "2 servings of 100 g (75 g cooked), 2 pieces each, 37.5 g a cooked piece" in page.text


def test_a_page_by_itself_for_every_reader() -> None:
    html = run("card", str(SLICE), "--label", "eu").stdout
    page = Page(html)
    tags = [tag for tag, _ in page.tags]
    assert set(tags) <= ALLOWED
    assert len(STRUCTURED.findall(html)) == 1  # data, which nothing runs
    assert not re.search(r"https?:|//|url\(|@import|<script|javascript:|\son\w+=", STRUCTURED.sub("", html))
    assert html.startswith("<!DOCTYPE html>\n<html lang=\"en\">") and '<meta charset="utf-8">' in html
    assert all(attrs.get("scope") in ("col", "row", "rowgroup") for tag, attrs in page.tags if tag == "th")
    assert [tags.count(tag) for tag in ("header", "main", "footer", "h1", "title")] == [1] * 5
    ids = {attrs["id"] for _, attrs in page.tags if "id" in attrs}
    assert {attrs["aria-labelledby"] for tag, attrs in page.tags if tag in ("section", "table")} == ids


def luminance(colour: str) -> float:
    """Relative luminance (W3C, Web Content Accessibility Guidelines 2.1)."""
    short = colour.removeprefix("#")
    long = short if len(short) == 6 else "".join(c * 2 for c in short)
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4
              for c in (int(long[k:k + 2], 16) / 255 for k in (0, 2, 4))]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_text_stands_out_seven_to_one() -> None:
    css = run("card", str(SLICE)).stdout
    names = dict(re.findall(r"--(\w+): (#\w+);", css))
    used = set(re.findall(r"[ {;]color: var\(--(\w+)\)", css))
    assert used and not re.search(r"[ {;]color: (?!var)", css)
    assert re.findall(r"background: (\S+);", css) == ["#fff", "#fff"]
    for name in used:
        assert 1.05 / (luminance(names[name]) + 0.05) >= 7, name


def test_the_cooks_text_is_harmless() -> None:
    evil = "<script>alert('1')</script> & \"soup\" \x01"
    written = dish([{"food": "butter, salted", "grams": 100, "label": "<b>butter", "part": "<i>top"},
                    {"food": "egg, whole, raw", "grams": 100}],
                   title=evil, note=evil, method=[evil, "</ol><img src=x onerror=y>"])
    html = STRUCTURED.sub("", card(check(recipe_from(written, load_foods()))))
    page = Page(html)
    assert {tag for tag, _ in page.tags} <= ALLOWED
    assert "<script" not in html and "<img" not in html and "\x01" not in html
    assert page.text.count("<script>alert('1')</script> & \"soup\"") == 4  # title twice, note, method
    assert page.values["<b>butter"] == "100"


def test_same_input_same_bytes(tmp_path: Path) -> None:
    """In new processes with other hash seeds and at another time zone; the file and stdout agree."""
    found = set()
    for seed in ("1", "2"):
        path = tmp_path / f"{seed}.html"
        command = [sys.executable, "-m", "ratio_solver", "card", str(SLICE), "-o", str(path), "--label", "us"]
        done = subprocess.run(command, cwd=ROOT, env={**os.environ, "PYTHONHASHSEED": seed, "TZ": f"UTC+{seed}"},
                              check=False)
        assert done.returncode == 0
        found.add(path.read_bytes())
    assert found == {run("card", str(SLICE), "--label", "us").stdout_bytes}


def test_the_library_gives_the_page_of_the_command() -> None:
    page = card(solve(read_recipe(SLICE, load_foods())), "eu")
    assert page + "\n" == run("card", str(SLICE), "--label", "eu").stdout


def test_an_impossible_dish_has_no_card(tmp_path: Path) -> None:
    path = tmp_path / "no.html"
    path.write_text("the old one")
    result = run("card", str(IMPOSSIBLE), "-o", str(path))
    assert result.exit_code == 3 and result.stdout == "" and path.read_text() == "the old one"
    assert "impossible" in result.stderr and "net carbs" in result.stderr
    assert result.stderr == run("solve", str(IMPOSSIBLE)).stdout
    with pytest.raises(BadInput, match="there is no card"):
        card(solve(read_recipe(IMPOSSIBLE, load_foods())))  # type: ignore[arg-type]


def test_as_written_says_what_it_does_not_keep() -> None:
    result = run("card", str(IMPOSSIBLE), "--as-written")
    facts = json.loads(run("check", str(IMPOSSIBLE), "--format", "json").stdout)
    page = Page(result.stdout)
    assert result.exit_code == 0 and "as written" in page.text
    assert "As written this dish does not keep" in page.text and "net carbs at most 5 g, is " in page.text
    assert "Kept:" not in page.text
    assert page.values["ratio"] == cut(facts["per_serving"]["ratio"])
    assert float(page.values["net carbs"].split()[0]) == pytest.approx(facts["per_serving"]["net_carbs_g"], abs=0.00501)


def test_declared_figures_are_asked_for() -> None:
    assert "Declared" not in run("card", str(SLICE)).stdout
    us, eu = (Page(run("card", str(SLICE), "--label", rules).stdout) for rules in ("us", "eu"))
    facts = solved(SLICE)["per_serving"]
    assert us.label["carbohydrate, fibre included"][0] == f"{facts['carbs_g']:.0f} g"
    assert eu.label["carbohydrate, fibre left out"][0] == f"{facts['carbs_g'] - facts['fibre_g']:.0f} g"
    assert eu.label["of which polyols"][0].endswith(" g") and " kJ / " in eu.text
    assert "not legal advice" in us.text and "not legal advice" in eu.text
    with pytest.raises(BadInput, match="expected one of none, us, eu"):
        card(check(read_recipe(SLICE, load_foods())), "mars")
    assert run("card", str(SLICE), "--label", "mars").exit_code == 2


def test_what_a_label_does_not_know_is_said(tmp_path: Path) -> None:
    own = table(tmp_path, food("seeds", 40, 20, 30, ""))
    page = Page(card(check(recipe_from(dish([{"food": "seeds", "grams": 20}]), own)), "eu"))
    # 20 g of 30 % carbohydrate are 6 g, all of it fibre or none; of what has neither role nor ash salt has no bound
    assert page.label["carbohydrate, fibre left out"] == ["at most 6.0 g", "at most 30 g"]
    assert page.label["salt"] == ["not known", "not known"]
    assert page.values["fat"] == "8.00 g" and page.label["fat"] == ["8.0 g", "40 g"]
    assert "Not known in full: energy, carbohydrate, fibre left out, sugars, fibre. The tables lack it for seeds (no " \
        "more than its carbohydrate)." in page.text
    assert "Not known in full: salt. The tables lack it for seeds." in page.text
    assert "fibre is unknown for seeds" in page.text
    assert "Allergens not known for seeds: read the label" in page.text and "none known" not in page.text


def test_options_are_shared_and_reach_the_card() -> None:
    page = Page(run("card", str(SLICE), "--ratio", "3.2", "--servings", "7", "--net-carbs", "6").stdout)
    assert "7 servings" in page.text and "ratio at least 3.20:1; net carbs at most 6 g" in page.text
    assert float(page.values["ratio"].removesuffix(":1")) >= 3.2
    held = Page(run("card", str(SLICE), "--guaranteed", "--ratio", "1.8", "--net-carbs", "9").stdout)
    assert "Kept for every figure that has an interval: ratio" in held.text and "guaranteed" not in held.text
    assert held.values["ratio, at the ends of the intervals"].endswith(":1")


@pytest.mark.parametrize("arguments", [
    ["nowhere.toml"], [str(SLICE), "--ratio", "x"], [str(SLICE), "-o", "no/such/folder/x.html"],
    [str(SLICE), "--scale", "0.3"],
])
def test_bad_input_exits_1_and_writes_nothing(arguments: list[str]) -> None:
    result = run("card", *arguments)
    assert result.exit_code == 1 and result.stdout == "" and result.stderr and "Traceback" not in result.stderr


def test_a_ratio_never_rounds_into_a_claim(tmp_path: Path) -> None:
    """Fat 98 to protein 50: 1.96:1, stated 1.9:1; and 2.0:1 where it is 2."""
    own = table(tmp_path, food("fat", 98, 0, 0), food("lean", 0, 50, 0), food("oil", 100, 0, 0))
    for name, grams, text in (("fat", 100, "1.9:1"), ("oil", 100, "2.0:1"), ("oil", 99.999, "1.9:1")):
        written = dish([{"food": name, "grams": grams}, {"food": "lean", "grams": 100}])
        assert Page(card(check(recipe_from(written, own)))).values["ratio"] == text
    written = dish([{"food": "oil", "grams": 10}])
    assert Page(card(check(recipe_from(written, own)))).values["ratio"] == "no protein or carbs"


@pytest.mark.parametrize(("value", "bound", "sense", "text"), [
    ("1.996", "1.991", ">=", "1.996:1"), ("1.996", "2", ">=", "1.99:1"), ("1.9999996", "2", ">=", "1.99:1"),
    ("2.004", "2.002", "<=", "2.004:1"), ("2.004", "2.1", "<=", "2.00:1"), ("2", "2", ">=", "2.00:1"),
])
def test_a_ratio_is_cut_at_any_number_of_decimals(value: str, bound: str, sense: str, text: str) -> None:
    limit = Limit("ratio", "target", sense, Fraction(bound), ":1", (), (), Fraction(0))
    assert ratio(Fraction(value), [LimitState(limit, Fraction(value), None, binding=False)]) == text


def test_household_measures_stand_beside_the_weight() -> None:
    """Egg, large 50 g; butter tbsp 14.2 g (USDA SR28)."""
    written = dish([{"food": "egg, whole, raw", "measure": "3 large"}, {"food": "butter, salted", "measure": "2 TBSP"},
                    {"food": "egg yolk, raw", "grams": 34, "piece": 17}, {"food": "celeriac, raw", "grams": 500}])
    recipe = recipe_from(written, load_foods())
    rows = {row[0]: row[1:] for row in Page(card(check(recipe))).rows}
    assert rows["egg, whole, raw"] == ["3\u00a0large", "150"]
    assert rows["butter, salted"] == ["2\u00a0tbsp", "28.4"]
    assert rows["egg yolk, raw"] == ["2\u00a0×\u00a017\u00a0g", "34"]
    assert rows["celeriac, raw"] == ["", "500"]
    butter = recipe.ingredients[1]
    assert measure_beside(butter, Fraction("3.55")) == "¼\u00a0tbsp"
    assert measure_beside(butter, Fraction(36)) == "about 2½\u00a0tbsp"
    assert measure_beside(butter, Fraction(1)) == ""
    assert measure_beside(replace(butter, yield_=0.9), Fraction("28.4")) == ""


def test_prepared_weights_and_parts_are_told(tmp_path: Path) -> None:
    own = table(tmp_path, food("root, raw", 0, 1, 8, 2), food("oil", 100, 0, 0))
    page = Page(card(check(recipe_from(dish([
        {"food": "root, raw", "label": "root", "grams": 85, "yield": 0.85, "part": "mash"},
        {"food": "oil", "grams": 0.125}]), own))))
    assert page.values["root"] == "85" and "raw; weighed prepared, yield 0.85" in page.text
    assert page.values["oil"] == "0.125"
    assert page.values["mash"] == "85" and page.values["other"] == "0.1"


def test_sources_of_the_figures() -> None:
    page = Page(run("card", str(SLICE)).stdout)
    assert "cream NDB 01053" in page.text and "Release 28" in page.text
    assert "mascarpone: from memory" in page.text
    assert "sugar" not in page.text.split("Source of the composition figures")[1], "left out, so not a source"


def test_alcohol_stands_with_the_cautions() -> None:
    """The slice has 30 g of rum in 8 servings, 33.4 g of alcohol in 100 (NDB 14050): 1.2525 g, told as 1.3."""
    page = card(solve(read_recipe(SLICE, load_foods())))
    caution = page[page.index('id="cautions"'):page.index("</section>", page.index('id="cautions"'))]
    assert "<p>Alcohol: one serving holds up to 1.3 g of alcohol" in caution
    assert '<p class="strong">At 3:1 and above' in caution
    assert page.count("of alcohol") == 1
