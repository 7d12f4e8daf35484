"""The tables of days in a folder that appears whole or not at all."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from ratio_solver.day import report
from ratio_solver.output.folder import CAUTIONS_FILE, whole_folder, writing
from ratio_solver.output.json_csv import as_csv, as_json
from ratio_solver.output.terminal import plain_text

if TYPE_CHECKING:
    from ratio_solver.day.result import Days

DAY_TABLES = (
    ("portions", report.PORTION_COLUMNS, report.portion_rows),
    ("totals", report.TOTAL_COLUMNS, report.total_rows),
    ("pots", report.POT_COLUMNS, report.pot_rows),
    ("problems", report.PROBLEM_COLUMNS, report.problem_rows),
)
"""Each table's file, its columns and what makes its rows of a day."""


def write_tables(found: Days, folder: Path, inputs: Iterable[Path] = ()) -> None:
    """Write portions, totals, pots and problems, the whole as JSON and as text, and the cautions.

    Parameters
    ----------
    found : Days
    folder : path
        New, empty, or that of an earlier run, which is replaced.
    inputs : iterable of path
        Files that are read besides the recipes; none may lie in the folder.

    Raises
    ------
    BadInput
        Where the folder cannot be written, holds something else, or an input.
    """
    recipes = {Path(pot.recipe.source) for answer in found.days for pot in answer.day.pots}
    with whole_folder(folder, [*inputs, *sorted(recipes)]) as new, writing(folder):
        for name, columns, rows in DAY_TABLES:
            made = as_csv(columns, (row for answer in found.days for row in rows(answer)))
            (new / f"{name}.csv").write_text(made, encoding="utf-8")
        (new / "day.json").write_text(as_json(report.data(found)) + "\n", encoding="utf-8")
        (new / "day.txt").write_text(plain_text(report.text(found)) + "\n", encoding="utf-8")
        (new / CAUTIONS_FILE).write_text("\n\n".join(found.cautions) + "\n", encoding="utf-8")


def outcome_counts(found: Days) -> str:
    """What became of the days, in one line."""
    outcomes = Counter(answer.outcome for answer in found.days)
    undecided = f", {outcomes['undecided']} undecided" if outcomes["undecided"] else ""
    people = len({person.name for answer in found.days for person in answer.day.people})
    dishes = sum(len(answer.day.pots) for answer in found.days)
    return (f"{len(found.days)} day{'s' if len(found.days) != 1 else ''}, {people} people, {dishes} dishes: "
            f"{outcomes['solved']} solved, {outcomes['impossible']} impossible{undecided}")
