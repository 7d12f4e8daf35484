"""What every public function answers with: the words, the data and the rows of its command, and a short look at it.

It is reported by the module that has its class, or by another that it names: by the functions ``text``, ``data`` and
``rows`` there. A module that is named is loaded when it is first asked for, as is what draws on a terminal or a page.
"""

from __future__ import annotations

from collections.abc import Iterable
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any, ClassVar

LONGEST_REPR = 10
"""Lines."""


class Outcome:
    """The answer of a public function. A dataclass of this kind has ``repr=False``.

    What `report`, `to_dict` and `rows` take by name is what the options of the command of the same name show: the
    scale's error, the foods listed at most.
    """

    reported_in: ClassVar[str] = ""
    """The report module, within the package: "tools.check.report"; unless said the one that has the class."""

    about: ClassVar[str] = "recipe"
    """Where its recipe is: "base.recipe"."""

    @property
    def outcome(self) -> str:
        """What came out, in a word: "solved", "impossible", or what fits."""
        return "solved"

    def reports(self) -> ModuleType:
        """The module that reports this: ``text(found)``, ``data(found)`` and ``rows(found)`` with their columns."""
        return import_module(f"ratio_solver.{self.reported_in}" if self.reported_in else type(self).__module__)

    def report(self, **shown: Any) -> str:
        """The text of the command, in 80 columns."""
        text: str = import_module("ratio_solver.output.terminal").plain_text(self.reports().text(self, **shown))
        return text

    def to_dict(self, **shown: Any) -> dict[str, object]:
        """The JSON of the command; weights in g for the batch, facts per serving, and whence the figures are."""
        data: dict[str, object] = self.reports().data(self, **shown)
        return data | self.whence() if isinstance(data, dict) else data

    def whence(self) -> dict[str, object]:
        """Which composition tables the figures come from: "tables", each with id, version and hash."""
        files = self.tables_used()
        if files is None:
            return {}
        return {"tables": import_module("ratio_solver.foods.bundled").table_ids(files)}

    def tables_used(self) -> Iterable[Path] | None:
        """The files of these tables: those of its recipe; None where nothing of this is reckoned from foods."""
        recipe: Any = self
        for name in self.about.split("."):
            recipe = getattr(recipe, name, None)
        return None if recipe is None else recipe.composition

    def rows(self, **shown: Any) -> list[dict[str, object]]:
        """The rows of the command's CSV, each with every column in its order."""
        columns, rows = self.reports().rows(self, **shown)
        return [{column: row.get(column) for column in columns} for row in rows]

    def __repr__(self) -> str:
        terminal = import_module("ratio_solver.output.terminal")
        head: str = terminal.head_of(self.reports().text(self), LONGEST_REPR, getattr(self, "cautions", ()))
        return head

    def _repr_html_(self) -> str:
        html: str = import_module("ratio_solver.output.notebook").html_of(self.reports().text(self))
        return html
