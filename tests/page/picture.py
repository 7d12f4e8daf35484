"""The picture of the page in the README, made from an example: one of its bounds moved, and the file not yet saved.

    python -m tests.page.picture [FILE.png]          # examples/page.png unless said
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.page.conftest import CHROMIUM, ROOT
from tests.page.serving import served
from tests.page.test_by_hand import Hand

PICTURE = ROOT / "examples" / "page.png"
SIZE = {"width": 1060, "height": 820}
EXAMPLE = "celeriac-gratin"


def main(path: str) -> None:
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as started:
        shutil.copy(ROOT / "examples" / f"{EXAMPLE}.toml", folder)
        browser = started.chromium.launch(executable_path=CHROMIUM)
        with served(Path(folder)) as page:
            window = browser.new_page(viewport=SIZE)
            dish = Hand(window, page, f"{EXAMPLE}.toml")
            dish.type("#max-4", "415")
            window.evaluate("document.activeElement.blur(); scrollTo(0, 0)")
            window.screenshot(path=path)
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else str(PICTURE))
