"""Solve a menu file into a folder of tables: in pieces, on all cores, in little memory."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass, field, replace
from pathlib import Path

from ratio_solver.dish.cautions import cautions
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.columns import menu_columns
from ratio_solver.menu.folder import CAUTIONS, refuse_inputs, whole_folder, writing
from ratio_solver.menu.processes import Counts, Done, Task, in_processes, solve_piece
from ratio_solver.menu.read import Opened, files_named, open_menu, pieces
from ratio_solver.menu.report import TABLES, caution_text, header_line, workbook
from ratio_solver.menu.results import LIMITS, PROBLEMS, WEIGHTS, serving_columns
from ratio_solver.menu.sheet import open_sheet
from ratio_solver.menu.solve import AGAIN, DEFAULT, MenuOptions

COPY = "menu.csv"
"""The first sheet of a workbook, while it is solved."""

PIECE = 1 << 20
"""Characters of a menu solved at a time by one process: some 1,500 recipes."""

@dataclass
class _Seen:
    """Names of recipes so far, as hashes: a million take some tens of MB."""

    hashes: set[int] = field(default_factory=set)

    def again(self, done: Done) -> dict[str, str]:
        """Names of a piece that have been seen before, and the word about it."""
        return {name: AGAIN for number, name in done.names.items() if number in self.hashes}


def run_menu(path: str | Path, folder: str | Path, foods: FoodTable, options: MenuOptions = DEFAULT, *,
             workers: int | None = None, xlsx: bool = False, inputs: Sequence[str | Path] = (),
             progress: Callable[[int, int], None] | None = None) -> Counts:
    """Solve a menu into a folder: weights, servings, limits and problems, all of them or none.

    Parameters
    ----------
    path : path
        The menu, CSV or a workbook (.xlsx).
    folder : path
        New, or the folder of an earlier run, which is replaced.
    foods : FoodTable
    options : MenuOptions
    workers : int, optional
        Processes; as many as there are cores unless said.
    xlsx : bool
        Write one workbook in place of the four CSV files.
    inputs : sequence of path
        What else was read, as the tables of the foods: where the folder holds any of it, nothing is written.
    progress : callable, optional
        Called with the bytes done and the bytes there are.

    Returns
    -------
    dict
        Number of recipes "solved", "impossible" and "unreadable".

    Raises
    ------
    BadInput
        Where the menu as a whole cannot be read, or the folder cannot be written or holds what was read. Nothing
        is written then.

    Examples
    --------
    >>> import tempfile
    >>> from ratio_solver import load_foods, run_menu
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     run_menu("examples/week-menu.csv", f"{folder}/week", load_foods(), workers=1)
    {'solved': 6, 'impossible': 2, 'unreadable': 0}
    """
    target = Path(folder).resolve()
    with whole_folder(target, [Path(path), *map(Path, inputs)]) as place:
        menu = open_sheet(Path(path), place / COPY) if is_workbook(path) else open_menu(path)
        menu_columns(menu.header, foods.columns, menu.source, menu.place)
        options = asked_of(menu, options)
        refuse_recipes(target, menu, options)
        done_bytes = 0

        def told(done: Done) -> None:
            nonlocal done_bytes
            done_bytes += done.size
            if progress is not None:
                progress(done_bytes, menu.size - menu.body)

        tasks = ((piece, options) for piece in pieces(menu, PIECE))
        with closing(in_processes(tasks, foods, workers or cores())) as finished:
            counts = write_tables(Tables(target, place), finished, foods, told)
        with writing(target):
            if xlsx:
                workbook(place, place / "menu.xlsx")
                for name in TABLES:
                    (place / f"{name}.csv").unlink()
            (place / COPY).unlink(missing_ok=True)
            write_cautions(place)
    return counts


def asked_of(menu: Opened, options: MenuOptions) -> MenuOptions:
    """How a file is solved: its own decimal sign, and its folder for the names of recipe files."""
    return replace(options, decimal_comma=menu.delimiter == ";",
                   folder=options.folder or str(Path(menu.source).absolute().parent))


def write_cautions(place: Path) -> None:
    """Write the file that every complete run has."""
    (place / CAUTIONS).write_text(caution_text(cautions()), encoding="utf-8")


def refuse_recipes(target: Path, menu: Opened, options: MenuOptions) -> None:
    """Refuse a folder for the results that holds a recipe file which the menu names.

    Raises
    ------
    BadInput
        With every such file.
    """
    if target.is_dir():
        refuse_inputs(target, (Path(options.folder) / name for name in files_named(menu)))


def is_workbook(path: str | Path) -> bool:
    """Whether a menu is a workbook, by its name."""
    return Path(path).suffix.lower() == ".xlsx"


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def table_columns(foods: FoodTable) -> dict[str, tuple[str, ...]]:
    """Columns of each table."""
    return {"weights": WEIGHTS, "servings": serving_columns(foods), "limits": LIMITS, "problems": PROBLEMS}


@dataclass(frozen=True)
class Tables:
    """Where the tables of a menu are written.

    Attributes
    ----------
    target : Path
        The folder as faults call it.
    place : Path
        Where they are written until all is complete.
    suffix : str
        What the names of the files end in.
    """

    target: Path
    place: Path
    suffix: str = ""


def write_tables(tables: Tables, finished: Iterable[tuple[Task, Done]], foods: FoodTable,
                 told: Callable[[Done], None]) -> Counts:
    """Write the pieces of a menu, in their order, into the files of a folder; a name may not come again."""
    counts = {"solved": 0, "impossible": 0, "unreadable": 0}
    with ExitStack() as stack, writing(tables.target):
        files = {name: stack.enter_context((tables.place / f"{name}{tables.suffix}.csv").open("wb")) for name in TABLES}
        seen = _Seen()
        for name, columns in table_columns(foods).items():
            files[name].write(header_line(columns).encode())
        for (piece, options), done in finished:
            again = seen.again(done)
            if again:  # a name that stands further up: the piece is solved again without it
                done = solve_piece(piece, foods, options, again)
            seen.hashes.update(done.names)
            for name, text in done.texts.items():
                files[name].write(text)
            for outcome, number in done.counts.items():
                counts[outcome] += number
            told(done)
    return counts
