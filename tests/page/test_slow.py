"""Solves that take long, that fail, or whose process dies: the page goes on, the last answer stays, marked as old."""

from __future__ import annotations

import asyncio
import os
import re
import shutil
import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest import mock

import httpx
import pytest

from ratio_solver import Adjustment, Diagnosis, Impossible, Proposal, Recipe, adjust, solve
from ratio_solver.errors import NotProven
from ratio_solver.exact import exact
from ratio_solver.foods.table import FoodTable, load_foods
from ratio_solver.page import answer, open_dish
from ratio_solver.page.answer import Origin, PageAnswer, answer_of
from ratio_solver.page.history import State
from ratio_solver.page.open_dish import OpenDishes
from ratio_solver.page.sheet import sheet_of
from ratio_solver.page.workers import Workers
from ratio_solver.solving.infeasible.without_weights import without_weights
from ratio_solver.solving.result import Answer
from ratio_solver.tools.solve.impossible import NEARER_OPEN
from tests.page.conftest import ROOT
from tests.page.serving import Served, served

LONG = 600.0
"""Seconds that a solve of a text with the word "slow" takes, unless it is stopped."""


def cut_short(recipe: Recipe, **asked: Any) -> Impossible:
    """Nothing found in the time but the weights that the recipe has."""
    return without_weights(recipe, "closest", Diagnosis((), undecided=True, between=tuple(map(exact, recipe.starts))))


def hurried(recipe: Recipe, **asked: Any) -> Answer:
    """The answer, and that there was no time for savings or to go through all weights beside a band."""
    found = solve(recipe, **asked)
    if isinstance(found, Proposal):
        return replace(found, unpriced=True)
    near = found.diagnosis.nearest
    assert near is not None
    return replace(found, diagnosis=replace(found.diagnosis, nearest=replace(near, proven=False)))


def without_ways(*given: Any) -> Adjustment:
    """Of a bowl that there was no time to try every way out."""
    return replace(adjust(*given), remedies=(), unfinished=True)


def unwilling(foods: FoodTable, state: State, origin: Origin, known: Mapping[str, Any] | None = None) -> PageAnswer:
    """A job that is slow, not proven, undecided, or the end of its process, as the text says."""
    if "# slow" in state.text:
        time.sleep(LONG)
    if "# unproven" in state.text:
        raise NotProven("the answer misses ratio by 1 and is not shown")
    if "# defect" in state.text:
        raise ZeroDivisionError("division by zero")
    if "# dies" in state.text:
        os._exit(9)
    for word, name, instead in (("# undecided", "solve", cut_short), ("# hurried", "solve", hurried),
                                ("# no ways", "adjust", without_ways)):
        if word in state.text:
            with mock.patch.object(answer, name, instead):
                return answer_of(foods, state, origin, known)
    return answer_of(foods, state, origin, known)


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    """A page that waits a quarter of a second for an answer, where the first solve of each process is done."""
    monkeypatch.setattr(open_dish, "answer_of", unwilling)
    shutil.copy(ROOT / "examples" / "celeriac-gratin.toml", tmp_path / "gratin.toml")
    shutil.copy(ROOT / "examples" / "moussaka.toml", tmp_path / "other.toml")
    with served(tmp_path, patience=0.25) as found:
        for name in ("gratin.toml", "other.toml"):
            until(found, name, "solved")
        yield found


def shown(page: Served, name: str) -> str:
    return httpx.get(page.dish(name), timeout=60).text


def until(page: Served, name: str, words: str) -> str:
    """The page once it says so."""
    for _ in range(400):
        text = shown(page, name)
        if words in stood(text):
            return text
        time.sleep(0.1)
    raise AssertionError(f"{name} never says {words}: {stood(text)}")


def stood(text: str) -> str:
    """How the dish stands, in the words at the top."""
    found = re.search(r'<p class="figures">(.*?)</p>', text, re.DOTALL)
    assert found
    return " ".join(re.sub(r"<[^>]*>", " ", found[1]).split())


def act(page: Served, name: str, do: str, **fields: str) -> httpx.Response:
    version = re.search(r'data-version="(\d+)"', shown(page, name))
    assert version
    return httpx.post(page.dish(name), data={"do": do, "version": version[1]} | fields, timeout=60,
                      headers={"origin": f"http://{page.host}", "x-scripted": "1"})


def with_word(page: Served, word: str) -> str:
    return (page.folder / "gratin.toml").read_text("utf-8") + f"# {word}\n"


def test_a_slow_solve_is_told_and_can_be_stopped(page: Served) -> None:
    begun = time.monotonic()
    text = act(page, "gratin.toml", "text", text=with_word(page, "slow")).text
    assert time.monotonic() - begun < LONG / 4
    assert "still solving" in stood(text) and "old ratio 2.00:1" in stood(text)
    assert "The figures below are old" in text and ">422<" in text
    assert 'value="stop"' in text and "<noscript>" in text
    # Another dish is solved meanwhile, and this one can be changed.
    act(page, "other.toml", "servings", servings="9")
    assert "solved" in until(page, "other.toml", "solved")
    text = act(page, "gratin.toml", "stop").text
    assert "stopped" in stood(text) and "old ratio 2.00:1" in stood(text)
    text = act(page, "gratin.toml", "undo").text
    assert "solved" in stood(until(page, "gratin.toml", "● solved"))


def test_what_the_time_left_out_is_told_as_by_the_command(page: Served) -> None:
    """But without the option of its line, which the page has not."""
    act(page, "gratin.toml", "text", text=with_word(page, "hurried"))
    text = until(page, "gratin.toml", "● solved")
    assert "The time for savings was up before every limit had one." in text and "--time-limit" not in text
    band = with_word(page, "hurried").replace("ratio = 2.0", "ratio = {min = 2, max = 2}", 1)
    act(page, "gratin.toml", "text", text=band)
    assert NEARER_OPEN in until(page, "gratin.toml", "impossible")
    act(page, "gratin.toml", "text", text=with_word(page, "no ways"))
    until(page, "gratin.toml", "● solved")
    act(page, "gratin.toml", "weigh", place="3", bowl="400")
    text = until(page, "gratin.toml", "impossible")
    assert "before every way out was tried: there may be others." in text and "would do." not in text


def test_a_state_is_sent_to_be_solved_before_its_sheet_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So that both are done at the same time."""
    done: list[str] = []

    class Recording(Workers):
        def __init__(self) -> None:
            pass

        async def do(self, job: Callable[..., Any], *given: Any) -> Any:
            done.append("sent")
            await asyncio.sleep(0.01)
            done.append("solved")
            return job(load_foods(), *given)

    path = Path(shutil.copy(ROOT / "examples" / "celeriac-gratin.toml", tmp_path / "gratin.toml"))
    dish = OpenDishes(tmp_path, load_foods()).dish("gratin.toml")
    monkeypatch.setattr(open_dish, "sheet_of", lambda *given, **more: done.append("read") or sheet_of(*given, **more))
    dish.put(State(path.read_text("utf-8").replace("max = 550", "max = 400")))
    with ThreadPoolExecutor() as aside:  # a browser of another test has its own loop here
        aside.submit(asyncio.run, dish.solved(Recording(), 60)).result()
    assert done == ["sent", "read", "solved"] and dish.fresh
    assert dish.sheet and dish.sheet.lines[4].high == "400"


def test_a_change_takes_the_place_of_a_slow_solve(page: Served) -> None:
    act(page, "gratin.toml", "text", text=with_word(page, "slow"))
    act(page, "gratin.toml", "text", text=with_word(page, "quick").replace("max = 550", "max = 400"))
    text = until(page, "gratin.toml", "● solved")
    assert ">400<" in text and "old" not in stood(text)


@pytest.mark.parametrize("word, said", [
    ("unproven", "the answer misses ratio by 1 and is not shown"), ("defect", "this is a defect of ratio_solver"),
    ("dies", "stopped before there was an answer")])
def test_a_failing_solve_is_told(page: Served, word: str, said: str) -> None:
    act(page, "gratin.toml", "text", text=with_word(page, word))
    text = until(page, "gratin.toml", "stopped")
    assert said in text
    assert "old ratio 2.00:1" in stood(text)
    act(page, "gratin.toml", "undo")
    until(page, "gratin.toml", "● solved")


def test_of_an_undecided_dish_nothing_is_said_to_be_in_the_way(page: Served) -> None:
    act(page, "gratin.toml", "text", text=with_word(page, "undecided"))
    why = until(page, "gratin.toml", "✕ undecided").partition('aria-labelledby="why"')[2].partition("</section>")[0]
    said = " ".join(re.sub(r"<[^>]*>", " ", why).split())
    assert "cannot be kept" not in said and "in the way" not in said
    assert "Weights between the steps do, and a wider band or a finer step may" in shown(page, "gratin.toml")
    assert "What is known Between the steps these keep every limit ingredient g potato 1000 celeriac" in said


def test_faults_leave_the_last_answer(page: Served) -> None:
    text = act(page, "gratin.toml", "text", text=with_word(page, "fault").replace("min = 850", "min = 8500")).text
    assert "faults" in stood(text) and "old ratio 2.00:1" in stood(text)
    assert "gratin.toml:88: parts.slices" in text and ">422<" in text
    assert re.search(r"<fieldset[^>]* disabled>", text)
    refused = act(page, "gratin.toml", "bounds", place="4", min="1", max="2")
    assert refused.status_code == 409
    assert "● solved" in stood(act(page, "gratin.toml", "undo").text) or until(page, "gratin.toml", "● solved")


def test_processes_end_with_the_page(tmp_path: Path) -> None:
    shutil.copy(ROOT / "examples" / "celeriac-gratin.toml", tmp_path / "gratin.toml")
    with served(tmp_path, patience=0.25) as found:
        until(found, "gratin.toml", "solved")
        started = [worker.process for worker in found.pages.workers.all]
    assert started and not any(process.is_alive() for process in started)
