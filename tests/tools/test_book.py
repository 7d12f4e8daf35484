"""A book: every dish that can be made has its card, the page that leads to them says what they say, all or nothing."""

from __future__ import annotations

import json
import os
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from ratio_solver import BookOptions, book, load_foods
from ratio_solver.cli import main
from ratio_solver.dish.cautions import WHOLE
from ratio_solver.tools.book import compute
from tests.tools.test_card import STRUCTURED, Page
from tests.tools.test_card_forms import violations

EXAMPLES = Path(__file__).resolve().parent.parent.parent / "examples"
THREE = ("celeriac-gratin", "mascarpone-slice", "onion-tart")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of three dishes, an impossible one and a broken one."""
    folder = tmp_path_factory.mktemp("dishes")
    for name in (*THREE, "impossible-dumplings"):
        shutil.copy(EXAMPLES / f"{name}.toml", folder)
    (folder / "broken.toml").write_text('title = "x"\nservings = 0\n', encoding="utf-8")
    done = run("book", folder, "-o", folder / "book", "--label", "eu", "--title", "Alderwater House")
    assert done.exit_code == 1 and done.stdout == "", done.output
    assert "broken.toml:2: servings: got 0" in done.stderr and "mushroom cream: impossible" in done.stderr
    assert "5 recipes: 3 made, 1 impossible, 1 unreadable" in done.stderr
    return folder / "book"


def page(path: Path) -> Page:
    return Page(STRUCTURED.sub("", path.read_text(encoding="utf-8")))


def test_every_dish_has_its_card_and_its_line(made: Path) -> None:
    assert {path.name for path in made.iterdir()} == {"index.html", "book.html", "book.json",
                                                      *(f"{name}.html" for name in THREE)}
    index = page(made / "index.html")
    links = [attrs["href"] for tag, attrs in index.tags if tag == "a"]
    assert links == [f"{name}.html" for name in THREE]
    for link, row in zip(links, index.tables["contents"][1:], strict=True):
        card = page(made / str(link))
        told = [row[1].partition(" (")[0], *row[2:5]]
        assert told == [card.values[name] for name in ("ratio", "net carbs", "energy", "protein")]
        allergens = card.text.split(" Allergens ")[1]
        assert all(word in allergens for word in re.findall(r"[a-z]+", row[5].partition(";")[0]))
    assert "not known for bacon: read the label" in index.text
    assert "servings: got 0" in index.text and "impossible" in index.text


def test_a_card_of_a_book_is_that_of_the_command(made: Path) -> None:
    alone = run("card", EXAMPLES / "celeriac-gratin.toml", "--label", "eu").stdout
    assert (made / "celeriac-gratin.html").read_text(encoding="utf-8").strip() == alone.strip()


def test_the_printed_book_has_cautions_and_sources_once(made: Path) -> None:
    text = page(made / "book.html").text
    assert all(text.count(caution) == 1 for caution in WHOLE)
    assert text.count("Release 28") == 1 and text.count("Source of the composition figures") == 1
    anchors = {attrs["id"] for _, attrs in page(made / "book.html").tags if "id" in attrs}
    links = [str(attrs["href"]) for tag, attrs in page(made / "book.html").tags if tag == "a"]
    assert len(links) == 3 and all(link.removeprefix("#") in anchors for link in links)
    ids = re.findall(r' id="([^"]+)"', (made / "book.html").read_text(encoding="utf-8"))
    assert len(ids) == len(set(ids))
    style = (made / "book.html").read_text(encoding="utf-8")
    assert "article { break-before: page;" in style


def test_its_record_holds_and_names_the_cards(made: Path) -> None:
    data = json.loads((made / "book.json").read_text(encoding="utf-8"))
    assert [dish["card"] for dish in data["dishes"]] == [f"{name}.html" for name in THREE]
    done = run("recheck", made / "book.json")
    assert (done.exit_code, done.stdout) == (0, "")


def test_same_input_same_bytes_and_only_a_book_is_replaced(made: Path, tmp_path: Path) -> None:
    before = {path.name: path.read_bytes() for path in made.iterdir()}
    recipes = [made.parent / f"{name}.toml" for name in THREE]
    for _ in range(2):
        done = run("book", *recipes, "-o", tmp_path / "book", "--label", "eu", "--title", "Alderwater House")
        assert done.exit_code == 0, done.output
    assert {name: data for name, data in before.items() if name.endswith("t.html")} == {
        path.name: path.read_bytes() for path in (tmp_path / "book").iterdir() if path.name.endswith("t.html")}
    own = tmp_path / "own"
    own.mkdir()
    (own / "letters.html").write_text("mine", encoding="utf-8")
    done = run("book", *recipes, "-o", own)
    assert done.exit_code == 1 and "expected a new folder" in done.stderr
    assert [path.name for path in own.iterdir()] == ["letters.html"]


def test_where_none_can_be_made_nothing_is_written(tmp_path: Path) -> None:
    done = run("book", EXAMPLES / "impossible-dumplings.toml", "-o", tmp_path / "book")
    assert done.exit_code == 1 and "no weights satisfy the limits" in done.stderr and not (tmp_path / "book").exists()
    for arguments, words in ((["nowhere.toml"], "cannot be read"), ([tmp_path], "expected recipe files"),
                             (["week.csv"], "menu week.csv -o TABLES --cards DIR")):
        done = run("book", *arguments, "-o", tmp_path / "book")
        assert done.exit_code == 1 and words in done.stderr and not (tmp_path / "book").exists()


def test_a_book_may_not_swallow_its_recipes(tmp_path: Path) -> None:
    shutil.copy(EXAMPLES / "celeriac-gratin.toml", tmp_path)
    done = run("book", tmp_path / "celeriac-gratin.toml", "-o", tmp_path)
    assert done.exit_code == 1 and "holds the input" in done.stderr


def test_a_menu_makes_the_same_cards(tmp_path: Path) -> None:
    done = run("menu", EXAMPLES / "week-by-file.csv", "-o", tmp_path / "week", "--cards", tmp_path / "cards",
               "--workers", "1")
    assert done.exit_code == 3, done.output
    index = page(tmp_path / "cards/index.html")
    alone = Page(STRUCTURED.sub("", run("card", EXAMPLES / "celeriac-gratin.toml").stdout))
    links = [attrs["href"] for tag, attrs in index.tags if tag == "a"]
    row = index.tables["contents"][1:][links.index("celeriac-gratin.html")]
    with (tmp_path / "week/servings.csv").open(encoding="utf-8") as file:
        assert len(index.tables["contents"]) - 1 == sum(",solved," in line for line in file)
    assert row[1] == alone.values["ratio"]
    assert run("recheck", tmp_path / "cards/book.json").exit_code == 0


def test_a_book_in_another_language(tmp_path: Path) -> None:
    german = BookOptions(language="de", title="Karten")
    book([EXAMPLES / "celeriac-gratin.toml"], tmp_path / "book", load_foods(), german)
    index = page(tmp_path / "book/index.html")
    assert index.tables["contents"][0] == ["Gericht", "Verhältnis", "Netto-Kohlenhydrate", "Energie", "Eiweiß",
                                           "Allergene"]
    assert "Sellerie, Milch" in index.text and "Gegenanzeigen" in index.text
    assert '<html lang="de">' in (tmp_path / "book/index.html").read_text(encoding="utf-8")


def test_its_pages_parse_and_can_be_read_by_all(made: Path, tmp_path: Path) -> None:
    html5lib = pytest.importorskip("html5lib")
    for name in ("index.html", "book.html"):
        html5lib.HTMLParser(strict=True).parse((made / name).read_text(encoding="utf-8"))
    axe, chromium = os.environ.get("AXE_CORE", "node_modules/axe-core/axe.min.js"), shutil.which("chromium")
    if not Path(axe).is_file() or chromium is None:
        pytest.skip("axe-core or chromium is not here")
    for name in ("index.html", "book.html"):
        assert violations((made / name).read_text(encoding="utf-8"), Path(axe), chromium, tmp_path) == [], name


def test_a_ratio_by_another_formula_says_so_among_the_others(tmp_path: Path) -> None:
    """Side by side a ratio of total carbs would be taken for one of net carbs."""
    recipe = (EXAMPLES / "celeriac-gratin.toml").read_text(encoding="utf-8")
    (tmp_path / "net.toml").write_text(recipe, encoding="utf-8")
    (tmp_path / "total.toml").write_text(recipe + '\n[policy]\nratio_formula = "total"\n', encoding="utf-8")
    done = run("book", tmp_path, "-o", tmp_path / "book", "--as-written")
    assert done.exit_code in (0, 3), done.output
    net, total = (row[1] for row in page(tmp_path / "book" / "index.html").tables["contents"][1:])
    assert "total carbs" not in net and total.endswith(":1 (fat : protein + total carbs)")


def test_each_dish_has_the_time_and_one_that_needs_more_is_not_called_impossible(
        monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Of a band that whole grams seldom meet nothing is known in no time: there may be weights."""
    shutil.copy(EXAMPLES / "celeriac-gratin.toml", tmp_path)
    recipe = (EXAMPLES / "moussaka.toml").read_text(encoding="utf-8")
    band = re.sub(r"(?m)^ratio = .*$", "ratio = {min = 1.25, max = 1.25}", recipe)
    (tmp_path / "moussaka.toml").write_text(band, encoding="utf-8")
    given, real = [], compute.solve

    def timed(recipe: Any, *rest: Any, time_limit: float | None, **more: Any) -> Any:
        given.append(time_limit)
        return real(recipe, *rest, time_limit=0 if "Moussaka" in recipe.title else None, **more)

    monkeypatch.setattr(compute, "solve", timed)
    tables = "--foods", EXAMPLES / "own-foods.csv"
    done = run("book", tmp_path, "-o", tmp_path / "book", "--time-limit", "7", *tables)
    assert (done.exit_code, given) == (3, [7, 7]), done.output
    assert "undecided, no weights were found in the time" in done.stderr and "1 undecided" in done.stderr
    assert "undecided" in page(tmp_path / "book" / "index.html").text
    alone = run("book", tmp_path / "moussaka.toml", "-o", tmp_path / "other", *tables)
    assert alone.exit_code == 1 and "no weights were found in the time" in alone.stderr
    assert "impossible:" not in done.stderr and "satisfy" not in alone.stderr
