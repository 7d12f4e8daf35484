"""What is sent while a hand moves: part by part what the whole page has, and nothing that the window has already."""

from __future__ import annotations

import re
from collections.abc import Iterable
from copy import copy
from xml.etree import ElementTree

import html5lib
import httpx
import pytest

from tests.page.conftest import copied
from tests.page.serving import Served

Parts = dict[str, str]


class Window:
    """A window as far as it counts here: which parts it shows, by their names."""

    def __init__(self, page: Served, name: str, see: str = "dish") -> None:
        self._page, self._address = page, page.dish(name, see)
        self.number = ""
        self.shown = self.whole()

    def whole(self) -> Parts:
        """The parts of the whole page."""
        answer = httpx.get(self._address, headers={"x-scripted": "1"}, timeout=60)
        self.version = version_of(answer.text)
        return parts_of(answer.text, ".//*[@id]")

    def moves(self, field: str, value: str, **form: str) -> Parts:
        """Move a bound, and take what is sent; that alone."""
        form |= {"version": self.version, "moving": field, "parts": self.number}
        answer = httpx.post(self._address, data={"value": value} | form, timeout=60,
                            headers={"origin": f"http://{self._page.host}", "x-scripted": "1"})
        assert answer.status_code == 200
        self.version, sent = version_of(answer.text), parts_of(answer.text, ".//div[@id='page']/*")
        self.number = re.findall(r'data-parts="(\d+)"', answer.text)[0]
        self.shown |= sent
        return sent

    def outdated(self, names: Iterable[str]) -> dict[str, tuple[str, str]]:
        """The parts of these names that do not stand there as in a whole page, and how they should."""
        whole = self.whole()
        return {name: (self.shown[name], whole[name]) for name in names if self.shown[name] != whole[name]}


def version_of(text: str) -> str:
    return re.findall(r'data-version="(\d+)"', text)[0]


def parts_of(text: str, path: str) -> Parts:
    found: Parts = {}
    for part in html5lib.parse(text, namespaceHTMLElements=False).findall(path):
        alone = copy(part)
        alone.tail = ""
        found[part.get("id")] = " ".join(ElementTree.tostring(alone, "unicode").split())
    return found


def bounds(place: int, low: str, high: str) -> dict[str, str]:
    return {"do": "bounds", "place": str(place), "min": low, "max": high, "hand": "max"}


@pytest.mark.parametrize("see", ["dish", "weigh"])
@pytest.mark.parametrize("example", ["celeriac-gratin", "impossible-dumplings", "moussaka"])
def test_each_part_is_that_of_the_whole_page(example: str, see: str, page: Served) -> None:
    """With weights, without and with them again; the limits, too, and where a bound takes the other one along."""
    window = Window(page, copied(page, example, f"parts-{example}-{see}"), see)
    every = window.moves("bound-0", "1.5", do="limit", number="0")
    assert {"stand", "notices", "card", "said", "is-ratio", "spare-net_carbs_g", "cautions", "why-not", "aside",
            "grams-0", "change-0"} <= set(every)
    assert not window.outdated(every)
    for value in ("1.55", "6", "1.2"):
        window.moves("bound-0", value, do="limit", number="0")
        assert not window.outdated(every)
    for low, high in (("10", "300"), ("10", "290"), ("300", "290")):
        window.moves("max-0", "", **bounds(0, low, high))
        assert not window.outdated(every)
    if see == "dish":
        assert window.shown["controls-0"].count('value="290"') == 4  # of both bounds, as each can be set in two ways


def test_what_a_window_has_is_not_sent_again(page: Served) -> None:
    window = Window(page, copied(page, "celeriac-gratin", "parts-known"))
    every = window.moves("max-4", "", **bounds(4, "0", "500"))
    sent = window.moves("max-4", "", **bounds(4, "0", "400"))
    assert {"grams-4", "track-4", "fix-4", "controls-4", "aside"} <= set(sent) < set(every)
    assert not {"grams-9", "fix-9", "cautions", "why-not"} & set(sent)  # nutmeg is fixed
    assert not window.outdated(every)
    assert not window.moves("max-4", "", **bounds(4, "0", "400"))


def test_what_another_window_was_sent_is_not_taken_for_what_this_one_has(page: Served) -> None:
    name = copied(page, "celeriac-gratin", "parts-two")
    one, other = Window(page, name), Window(page, name)
    every = one.moves("max-4", "", **bounds(4, "0", "500"))
    other.shown = other.whole()
    other.moves("max-4", "", **bounds(4, "0", "400"))
    one.version = other.version  # it has seen that something was done, and not what
    assert set(one.moves("max-4", "", **bounds(4, "0", "400"))) == set(every)
    assert not one.outdated(every)


def test_of_a_file_that_cannot_be_read_the_whole_page_is_shown(page: Served) -> None:
    """There are no lines to send, whatever is asked for."""
    name = copied(page, "celeriac-gratin", "parts-faults")
    (page.folder / name).write_text("servings = 0\n", encoding="utf-8")
    version = version_of(httpx.get(page.dish(name), timeout=60).text)
    answer = httpx.post(page.dish(name), data={"version": version, "moving": "max-0", "do": "undo"}, timeout=60,
                        headers={"origin": f"http://{page.host}", "x-scripted": "1"})
    assert answer.status_code == 200 and "This cannot be read as a recipe" in answer.text
