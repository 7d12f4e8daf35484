"""The dishes that are open on the page: those of the folder, and drafts that have no file yet."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ratio_solver.foods.table import FoodTable
from ratio_solver.page.folder import ENDING, Folder, NotThere, text_of
from ratio_solver.page.open_dish import OpenDish
from ratio_solver.page.workers import Workers

MOST_OPEN = 100
"""Dishes that are kept open; of more the one that was opened first goes, where nothing in it is unsaved."""

DRAFT = "draft-"
"""How the name of a dish begins that has no file yet; it has no ending, as a file has."""


class Kitchen:
    """All that a page works with.

    Parameters
    ----------
    root : path
        The folder; nothing outside of it is shown or written.
    foods : FoodTable
    tables : sequence of str
        The tables that it was made of, for the processes that solve.
    """

    def __init__(self, root: Path, foods: FoodTable, tables: Sequence[str] = ()) -> None:
        self.folder, self.foods, self.fats = Folder(root), foods, foods.with_role("fat")
        self._tables = tuple(tables)
        self._workers: Workers | None = None
        self._open: dict[str, OpenDish] = {}
        self._drafts = 0

    @property
    def workers(self) -> Workers:
        """The processes that solve; they are started when they are first needed."""
        if self._workers is None:
            self._workers = Workers(self._tables)
        return self._workers

    def close(self) -> None:
        """End the processes."""
        if self._workers is not None:
            self._workers.end()
            self._workers = None

    @property
    def drafts(self) -> tuple[OpenDish, ...]:
        """Dishes that have no file yet."""
        return tuple(dish for dish in self._open.values() if dish.saved is None)

    def dish(self, name: str) -> OpenDish:
        """The dish of a name: one that is open, else the file is read.

        Raises
        ------
        NotThere, BadInput
        """
        if name not in self._open:
            if not name.endswith(ENDING):
                raise NotThere("this draft is not open any more")
            data = self.folder.data_of(name)
            self._keep(name, OpenDish(name, text_of(data, name), self.folder, self.foods, saved=data))
        return self._open[name]

    def begin(self, text: str, look_at: Sequence[str]) -> OpenDish:
        """A new dish, which has no file until it is saved."""
        self._drafts += 1
        name = f"{DRAFT}{self._drafts}"
        dish = OpenDish(name, text, self.folder, self.foods, look_at=look_at)
        self._keep(name, dish)
        return dish

    def renamed(self, before: str) -> None:
        """Know a dish by the name of the file that it has now."""
        dish = self._open.pop(before)
        self._open[dish.name] = dish

    def _keep(self, name: str, dish: OpenDish) -> None:
        self._open[name] = dish
        for other, kept in list(self._open.items()):
            if len(self._open) <= MOST_OPEN:
                return
            if kept is not dish and not kept.unsaved:
                del self._open[other]
