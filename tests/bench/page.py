"""From a moved bound to the new figures on screen, beside the solve's own time in the same run.

    python -m tests.bench.page [MOVES [EXAMPLE ...]]

Each example is opened in a browser (Debian's chromium, by its path), and a hand moves its bounds, ten steps at a time.
A move is measured in the browser, from the event to the end of the frame in which the new figures stand; the same
recipe is solved right after it in this process. A move begins with a frame, as those of a hand do: a browser hands
them on before it draws. The slider is drawn in that frame, so that on a display with 60 frames a second nothing of the
answer can be seen before 17 ms. Prints ms, medians over each other and less each other (what the page adds); 200 moves
an example unless said. No test is timed.
"""

from __future__ import annotations

import random
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

from ratio_solver import solve
from ratio_solver.recipe.read import recipe_of_text
from tests.page.conftest import CHROMIUM, OWN, ROOT
from tests.page.serving import Served, served

STEPS = 10
"""Of one movement of a hand."""

MOVE = """([id, value]) => new Promise((done) => requestAnimationFrame(() => {
  const slider = document.querySelector(`[data-sets="${id}"]`), begun = performance.now(), real = window.show;
  window.show = async (...given) => {
    await real(...given);
    window.show = real;
    requestAnimationFrame(() => setTimeout(() => done(performance.now() - begun)));
  };
  slider.value = value;
  slider.dispatchEvent(new Event("input", {bubbles: true}));
}))"""
"""Move a bound, and say after how many ms the frame with the answer is drawn."""


def measured(window: Any, page: Served, name: str, moves: int) -> tuple[list[float], list[float]]:
    """Seconds of each move on the page, and of the solve of the same recipe here."""
    drawn, dish = random.Random(name), page.dishes.dish(name)
    window.goto(page.dish(name))
    window.wait_for_function("() => !document.getElementById('page').dataset.solving")
    sheet = dish.sheet
    assert sheet is not None
    lines = [line for line in sheet.lines if line.high and float(line.high) > 0]
    shown, alone = [], []
    while len(shown) < moves:
        line = drawn.choice(lines)
        end, begin = drawn.choice([("min", line.low), ("max", line.high)])
        way = drawn.uniform(-10, 10)
        for step in range(1, STEPS + 1):
            value = min(max(float(begin) + way / 100 * line.track.top * step / STEPS, 0), line.track.top)
            before = dish.version
            took = window.evaluate(MOVE, [f"{end}-{line.place}", value])
            if dish.version == before:
                continue  # the same whole grams
            shown.append(took / 1000)
            recipe = recipe_of_text(dish.state.text, page.dishes.foods, name, page.folder)
            begun = time.perf_counter()
            solve(recipe, foods=page.dishes.foods)
            alone.append(time.perf_counter() - begun)
    return shown[:moves], alone[:moves]


def told(name: str, shown: list[float], alone: list[float]) -> str:
    page, own = statistics.median(shown), statistics.median(alone)
    return (f"{name:22} {1000 * page:7.0f} {1000 * max(shown):7.0f}   {1000 * own:7.0f} {1000 * max(alone):7.0f}   "
            f"{page / own:5.2f} {max(shown) / max(alone):5.2f}   {1000 * (page - own):6.1f}")


def main(moves: int, examples: Sequence[str]) -> None:
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as started:
        shutil.copytree(ROOT / "examples", Path(folder, "recipes"))
        browser = started.chromium.launch(executable_path=CHROMIUM)
        print("ms                     on the page       solved here       page over solve  added")
        print("example                 median   worst    median   worst   median worst   median")
        everything: tuple[list[float], list[float]] = ([], [])
        with served(Path(folder, "recipes"), [OWN], patience=60) as page:
            window = browser.new_page(viewport={"width": 1280, "height": 900})
            for path in sorted((ROOT / "examples").glob("*.toml")):
                if examples and path.stem not in examples:
                    continue
                shown, alone = measured(window, page, path.name, moves)
                everything[0].extend(shown)
                everything[1].extend(alone)
                print(told(path.stem, shown, alone), flush=True)
        print(told("all", *everything))
        browser.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200, sys.argv[2:])
