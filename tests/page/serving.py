"""The page of a folder, served from this process for as long as a test needs it."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import uvicorn

from ratio_solver import load_foods
from ratio_solver.page.command import HERE, listening_at
from ratio_solver.page.guard import Guard
from ratio_solver.page.open_dish import OpenDishes
from ratio_solver.page.server import Pages

TOKEN = "a-token-of-the-tests"
READY_WITHIN = 60.0


@dataclass(frozen=True)
class Served:
    """A page that is being served: its folder, its pages, and where it is."""

    folder: Path
    pages: Pages
    host: str

    @property
    def base(self) -> str:
        """Its address, with the token."""
        return f"http://{self.host}/{TOKEN}"

    @property
    def dishes(self) -> OpenDishes:
        """The dishes that are open on it."""
        return self.pages.dishes

    def dish(self, name: str, see: str = "dish") -> str:
        """The address of a dish."""
        return f"{self.base}/dish/{quote(name)}?see={see}"


@contextmanager
def served(folder: Path, tables: Sequence[str] = (), patience: float = 60.0) -> Iterator[Served]:
    """Serve a folder; a solve is slow, unless said otherwise, only where the machine is out of breath."""
    listening = listening_at(HERE, 0)
    host = f"127.0.0.1:{listening.getsockname()[1]}"
    pages = Pages(OpenDishes(folder, load_foods(*tables)), tables, patience)
    config = uvicorn.Config(Guard(pages.app(), TOKEN, [host]), log_level="error", lifespan="on", proxy_headers=False)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    until = time.monotonic() + READY_WITHIN
    while not server.started and time.monotonic() < until:
        time.sleep(0.02)
    try:
        yield Served(folder, pages, host)
    finally:
        server.should_exit = True
        thread.join(READY_WITHIN)
