"""Recipes in saved pages: the shapes that pages have, and what tries to be more than text."""

from __future__ import annotations

import socket
import tomllib
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, draft
from ratio_solver.cli import main
from ratio_solver.recipe.page import is_page, recipes_in
from tests.recipe import pages


@pytest.mark.parametrize("text", [pages.GRAPH, pages.LIST, pages.SECTIONS, pages.NEARLY, pages.MAIN_ENTITY, pages.OLD,
                                  pages.JSON_FILE, pages.TWO])
def test_every_shape_gives_the_same_recipe(text: str) -> None:
    found = recipes_in(text)[0]
    assert (found.title, found.servings) == ("Lodge stew", 4)
    assert tuple(line.text for line in found.lines) == pages.INGREDIENTS
    assert tuple(step for step in found.method if not step.endswith(":")) == pages.STEPS


def test_headings_are_parts_and_sections_head_their_steps() -> None:
    found = recipes_in(pages.SECTIONS)[0]
    assert {line.part for line in found.lines} == {"stew"}
    assert found.method == ("The meat:", "Brown the beef.", "The pot:", "Simmer.")


def test_entities_and_markup_become_text() -> None:
    found = recipes_in(pages.ENTITIES)[0]
    assert found.title == "Lodge & garden stew" and found.servings == 4
    assert [line.text for line in found.lines] == ["1½ kg beef", "2 tbsp olive oil", "100 ml crème fraîche"]
    assert found.method == pages.STEPS


@pytest.mark.parametrize("section", ["<![>", "<![CDATA[ x ]]>", "<![endif]>", "<![ if x", "<![&]>"])
def test_marked_sections_between_the_elements_are_no_data(section: str) -> None:
    """HTML takes them for comments up to the next sign that ends an element."""
    page = pages.GRAPH.replace("<script", f"{section}<p></p><script", 1)
    assert [line.text for line in recipes_in(page)[0].lines] == list(pages.INGREDIENTS)


def test_a_missing_yield_is_said() -> None:
    found = draft(pages.NO_YIELD)
    assert found.recipe.servings == 4 and "how many" in found.look_at[0]
    assert "# check: the recipe does not say how many it serves" in found.text


@pytest.mark.parametrize(("text", "told"), [
    (pages.BROKEN, "its data is not JSON"), ("<html><body>2 eggs</body></html>", "holds no recipe"),
    ('{"@type": "Person", "name": "A"}', "holds no recipe"), ('{"@type": "Recipe", "name": "A"}', "holds no recipe"),
    ("[" * 100_000, "not JSON"), (pages.page('{"@type":"Recipe","recipeIngredient":[' + "[" * 5000), "not JSON"),
])
def test_what_holds_no_recipe_is_one_clear_line(text: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=told) as bad:
        draft(text, source="page.html")
    assert len(bad.value.faults) == 1
    saved = tmp_path / "page.html"
    saved.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(main, ["draft", str(saved), "-o", str(tmp_path / "dish.toml")])
    assert done.exit_code == 1 and len(done.stderr.splitlines()) == 1
    assert not (tmp_path / "dish.toml").exists()


@pytest.mark.parametrize("text", [pages.GRAPH, "\ufeff" + pages.LIST, "<!-- saved -->\n" + pages.TWO, pages.JSON_FILE])
def test_a_saved_page_is_a_source_of_the_command(text: str, tmp_path: Path) -> None:
    """A file that begins as a page does is refused by every other command, and is what this one is for."""
    saved = tmp_path / "page.html"
    saved.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(main, ["draft", str(saved), "-o", str(tmp_path / "dish.toml")])
    assert done.exit_code == 0, done.stderr
    assert tomllib.loads((tmp_path / "dish.toml").read_text(encoding="utf-8"))["title"] == "Lodge stew"


def test_one_of_several_recipes_is_chosen(tmp_path: Path) -> None:
    """The first unless said; the others are named with their numbers, and one that is not there is a fault."""
    assert [draft(pages.TWO, recipe=number).recipe.title for number in (1, 2)] == ["Lodge stew", "Second stew"]
    assert "# another recipe of the page, --recipe 2: Second stew" in draft(pages.TWO).text
    assert "# another recipe of the page, --recipe 1: Lodge stew" in draft(pages.TWO, recipe=2).text
    saved = tmp_path / "page.html"
    saved.write_text(pages.TWO, encoding="utf-8")
    assert 'title = "Second stew"' in CliRunner().invoke(main, ["draft", str(saved), "--recipe", "2"]).stdout
    wrong = CliRunner().invoke(main, ["draft", str(saved), "--recipe", "3"])
    assert wrong.exit_code == 1 and wrong.stderr == (
        f"--recipe: got 3; expected 1 to 2, as {saved} has 1 Lodge stew; 2 Second stew\n")
    with pytest.raises(BadInput, match="expected 1 to 1"):
        draft("Dip\n\n200 g sour cream", recipe=2)


def test_script_is_neither_run_nor_read_and_no_network_is_touched(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise AssertionError("the network was touched")

    monkeypatch.setattr(socket, "socket", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    found = draft(pages.GRAPH)
    assert "ran" not in found.text and "nothing at all" not in found.text


def test_hostile_text_stays_text() -> None:
    found = draft(pages.HOSTILE)
    read = tomllib.loads(found.text)
    assert read["title"] == 'x"' and read["servings"] == 4
    assert set(read) == {"title", "servings", "method", "ingredients"}
    assert found.text.isprintable() or all(line.isprintable() for line in found.text.splitlines())
    labels = [item.get("label", item["food"]) for item in read["ingredients"]]
    assert labels == [item.label for item in found.recipe.ingredients] and "alert" not in " ".join(labels)
    assert not [line for line in found.text.splitlines() if line.startswith("[") and line not in ("[[ingredients]]",)]
    assert '# a "quote" \\ and' in found.text


def test_lines_of_a_cook_are_no_page() -> None:
    assert not is_page("[optional] 2 eggs\n") and not is_page("< 1 tsp salt\n") and is_page(" \n<html>")
