"""A served folder of the examples, and a browser where this machine has one."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.page.serving import Served, served

ROOT = Path(__file__).resolve().parents[2]
OWN = str(ROOT / "examples" / "own-foods.csv")
CHROMIUM = shutil.which("chromium")


@pytest.fixture(scope="session")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The examples, served; a test that changes a dish copies it first (`copied`)."""
    folder = tmp_path_factory.mktemp("kitchen") / "recipes"
    shutil.copytree(ROOT / "examples", folder)
    with served(folder, [OWN]) as found:
        yield found


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A browser: Debian's by its path, else the one that playwright has."""
    playwright = pytest.importorskip("playwright.sync_api", reason="the page is tried in a browser with playwright")
    with playwright.sync_playwright() as started:
        path = CHROMIUM or started.chromium.executable_path
        if not Path(path).exists():
            pytest.skip("the page is tried in a browser, and there is none: apt install chromium, "
                        "or playwright install chromium")
        browser = started.chromium.launch(executable_path=path)
        yield browser
        browser.close()


def copied(page: Served, example: str, name: str) -> str:
    """A copy of an example for one test alone: its name."""
    shutil.copy(ROOT / "examples" / f"{example}.toml", page.folder / f"{name}.toml")
    return f"{name}.toml"
