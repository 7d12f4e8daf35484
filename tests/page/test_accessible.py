"""The page for those who do not see it, do not use a mouse, or run no script.

Rules: axe-core (WCAG 2.2 A and AA and its best practices), in a browser, where AXE_CORE names its axe.min.js (as
`npm install axe-core` in a folder of its own gives it).
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.page.conftest import ROOT, copied
from tests.page.serving import Served, served
from tests.page.test_by_hand import Hand

AXE = os.environ.get("AXE_CORE", "")


@pytest.fixture(scope="module")
def axe() -> str:
    """The source of axe-core."""
    if not AXE:
        pytest.skip("AXE_CORE names no axe.min.js: npm install axe-core")
    return Path(AXE).read_text("utf-8")


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The examples without the cook's own table: one of them has faults."""
    folder = tmp_path_factory.mktemp("plain") / "recipes"
    shutil.copytree(ROOT / "examples", folder)
    with served(folder) as found:
        yield found


def violations(window: Any, axe: str) -> list[str]:
    window.evaluate(axe)
    found = window.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert len(found["passes"]) > 15
    return [f"{one['id']}: {node['html']}" for one in found["violations"] for node in one["nodes"]]


STATES = ("solved", "impossible", "weighing in", "a bowl without an answer", "portions", "compare", "text", "faults",
          "changed on disk", "a draft", "foods looked up", "refused", "the folder", "a new dish", "cautions",
          "not there", "stopped")


@pytest.mark.slow
@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("state", STATES)
def test_no_rule_is_broken(state: str, width: int, chromium: Any, plain: Served, axe: str) -> None:
    window = chromium.new_page(viewport={"width": width, "height": 900})
    try:
        reach(state, window, plain, width)
        assert violations(window, axe) == []
    finally:
        window.close()


def reach(state: str, window: Any, page: Served, width: int) -> None:
    """Bring the page into a state, as a hand would."""
    addresses = {"the folder": "/", "a new dish": "/new", "cautions": "/cautions", "not there": "/dish/none.toml"}
    if state in addresses:
        window.goto(page.base + addresses[state])
        return
    names = {"impossible": "impossible-dumplings", "faults": "stuffed-peppers", "portions": "mascarpone-slice"}
    name = copied(page, names.get(state, "celeriac-gratin"), f"{state.replace(' ', '-')}-{width}")
    views = {"weighing in": "weigh", "a bowl without an answer": "weigh", "portions": "portions", "compare": "compare",
             "text": "text"}
    dish = Hand(window, page, name, views.get(state, "dish"))
    if state == "weighing in":
        dish.type("#bowl-4", "480")
    elif state == "a bowl without an answer":
        dish.type("#bowl-2", "1400")
    elif state == "changed on disk":
        (page.folder / name).write_text("title = 1", encoding="utf-8")
        window.wait_for_selector("#disk")
    elif state == "a draft":
        window.goto(f"{page.base}/new")
        window.fill("#lines", "Mash\n500 g potatoes\na glass of milk")
        window.click("text=Make the dish")
        window.wait_for_selector("#save")
    elif state == "foods looked up":
        window.click("#line-4 summary")
        window.fill("#words-4", "crème double")
        window.press("#words-4", "Enter")
        window.wait_for_selector(".offered")
    elif state == "refused":
        window.fill("#min-4", "600")
        window.press("#min-4", "Tab")
        window.wait_for_selector(".notice.bad")
    elif state == "stopped":
        page.dishes.dish(name).stop("stopped before there was an answer")
        window.reload()
        window.wait_for_selector("#slow")


@pytest.mark.parametrize("example", ["celeriac-gratin", "impossible-dumplings"])
def test_without_script_the_dish_is_shown_and_its_forms_work(example: str, chromium: Any, page: Served) -> None:
    context = chromium.new_context(java_script_enabled=False, viewport={"width": 360, "height": 740})
    window = context.new_page()
    try:
        name = copied(page, example, f"noscript-{example}")
        window.goto(page.dish(name))
        assert not window.locator(".slide").first.is_visible()
        if example == "impossible-dumplings":
            window.locator(".offers button").first.click()
            assert window.locator(".stand .state").inner_text().endswith("solved")
            return
        window.fill("#max-4", "400")
        window.locator("#line-4 .bounds button").click()
        assert window.locator("#line-4 .grams strong").inner_text() == "400"
        window.fill("#bound-0", "2.5")
        window.locator("#bound-0").press("Enter")
        assert window.locator(".stand .state").inner_text().endswith("impossible")
        window.click("text=Undo")
        window.click("text=Weigh in")
        window.fill("#bowl-4", "401")
        window.locator("#line-4 .bowl button").click()
        assert window.locator("#line-4 .grams strong").inner_text() == "401"
        window.click("text=Save")
        assert "max = 400" in (page.folder / name).read_text("utf-8")
        window.click("text=Portions")
        assert "makes 6 servings" in window.locator(".report").inner_text()
    finally:
        context.close()


def test_what_changed_is_said(chromium: Any, page: Served) -> None:
    window = chromium.new_page()
    dish = Hand(window, page, copied(page, "celeriac-gratin", "said"))
    dish.type("#max-4", "415")
    told = window.locator("#told")
    assert told.get_attribute("role") == "status" and told.get_attribute("aria-live") == "polite"
    assert told.inner_text().startswith("solved: ratio 2.00:1, net carbs ")
    assert "cream 422 to 415 g" in told.inner_text()
    dish.type("#bound-0", "6")
    assert told.inner_text().startswith("impossible. ")
    window.close()
