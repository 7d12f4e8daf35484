"""Solve a menu file into a folder of tables: in pieces, on all cores, in little memory."""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field, replace
from hashlib import blake2b
from itertools import chain, islice
from multiprocessing.connection import wait
from pathlib import Path
from typing import Any

from ratio_solver.faults import BadInput, Fault
from ratio_solver.foods.table import FoodTable
from ratio_solver.menus.folder import CAUTIONS, refuse_inputs, whole_folder
from ratio_solver.menus.sheet import open_sheet
from ratio_solver.proposals.menus.menu import AGAIN, DEFAULT, MenuOptions, solve_menu
from ratio_solver.proposals.menus.results import LIMITS, PROBLEMS, WEIGHTS, serving_columns
from ratio_solver.recipes import notices
from ratio_solver.recipes.menu_columns import menu_columns
from ratio_solver.recipes.menu_csv import Opened, Piece, files_named, frame_of, open_menu, parsed, pieces
from ratio_solver.reports.menu_tables import TABLES, caution_text, header_line, rendered, workbook

COPY = "menu.csv"
"""The first sheet of a workbook, while it is solved."""

PIECE = 1 << 20
"""Characters of a menu solved at a time by one process: some 1,500 recipes."""

Counts = dict[str, int]


@dataclass(frozen=True)
class Done:
    """A piece of a menu, solved.

    Attributes
    ----------
    texts : mapping of table to CSV lines
    counts : mapping
        Recipes "solved", "impossible" and "unreadable".
    names : tuple of int
        Hashes of the recipes' names.
    size : int
        Bytes of the menu that it was.
    """

    texts: Mapping[str, bytes]
    counts: Counts
    names: dict[int, str]
    size: int


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
    """
    target = Path(folder).resolve()
    with whole_folder(target, [Path(path), *map(Path, inputs)]) as place:
        menu = open_sheet(Path(path), place / COPY) if is_workbook(path) else open_menu(path)
        menu_columns(menu.header, foods.columns, menu.source, menu.place)
        options = replace(options, decimal_comma=menu.delimiter == ";",
                          folder=options.folder or str(Path(path).absolute().parent))
        refuse_recipes(target, menu, options)
        counts = _solve_into(place, menu, foods, options, workers or cores(), progress)
        if xlsx:
            workbook(place, place / "menu.xlsx")
            for name in TABLES:
                (place / f"{name}.csv").unlink()
        (place / COPY).unlink(missing_ok=True)
        (place / CAUTIONS).write_text(caution_text((notices.CAUTION, notices.STRONG_CAUTION)), encoding="utf-8")
    return counts


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


def _solve_into(place: Path, menu: Opened, foods: FoodTable, options: MenuOptions, workers: int,
                progress: Callable[[int, int], None] | None) -> Counts:
    cut = pieces(menu, PIECE)
    start = list(islice(cut, 2))
    finished = _in_processes(chain(start, cut), foods, options, workers) if len(start) > 1 and workers > 1 else \
        ((piece, solve_piece(piece, foods, options)) for piece in chain(start, cut))
    done_bytes = 0

    def told(done: Done) -> None:
        nonlocal done_bytes
        done_bytes += done.size
        if progress is not None:
            progress(done_bytes, menu.size - menu.body)

    return write_tables(place, "", finished, foods, options, told)


def write_tables(place: Path, suffix: str, finished: Iterable[tuple[Piece, Done]], foods: FoodTable,
                 options: MenuOptions, told: Callable[[Done], None]) -> Counts:
    """Write the pieces of a menu, in their order, into the files of a folder; a name may not come again."""
    counts = {"solved": 0, "impossible": 0, "unreadable": 0}
    files = {name: (place / f"{name}{suffix}.csv").open("wb") for name in TABLES}
    seen = _Seen()
    try:
        for name, columns in table_columns(foods).items():
            files[name].write(header_line(columns).encode())
        for piece, done in finished:
            again = seen.again(done)
            if again:  # a name that stands further up: the piece is solved again without it
                done = solve_piece(piece, foods, options, again)
            seen.hashes.update(done.names)
            for name, text in done.texts.items():
                files[name].write(text)
            for outcome, number in done.counts.items():
                counts[outcome] += number
            told(done)
    finally:
        for file in files.values():
            file.close()
    return counts


def _in_processes(cut: Iterator[Piece], foods: FoodTable, options: MenuOptions,
                  workers: int) -> Iterator[tuple[Piece, Done]]:
    """Solve pieces in other processes, at most a few in flight, results in order."""
    alone = threading.active_count() == 1 and "fork" in multiprocessing.get_all_start_methods()
    context = multiprocessing.get_context("fork" if alone else "spawn")
    with ProcessPoolExecutor(workers, mp_context=context, initializer=_prepare, initargs=(foods, options)) as pool:
        waiting: deque[tuple[Piece, Future[Done]]] = deque()
        for piece in cut:
            waiting.append((piece, pool.submit(_work, piece)))
            if len(waiting) > 2 * workers:
                first, future = waiting.popleft()
                yield first, _result(first, future)
        while waiting:
            first, future = waiting.popleft()
            yield first, _result(first, future)


def _result(piece: Piece, future: Future[Done]) -> Done:
    try:
        return future.result()
    except BrokenProcessPool as error:
        raise BadInput([Fault(piece.menu.source, f"from {piece.menu.place(piece.first_line)}", "",
                              "the process that solved this ended (out of memory?): try fewer --workers")]) from error


_PREPARED: dict[str, tuple[FoodTable, MenuOptions]] = {}
"""What a worker process has been started with: it is sent once, not with every piece."""


def _prepare(foods: FoodTable, options: MenuOptions) -> None:
    _PREPARED["menu"] = (foods, options)
    parent = multiprocessing.parent_process()
    if parent is not None:  # a command that is killed leaves no process behind
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    """End this process when the one that started it has ended."""
    wait([sentinel])
    os._exit(1)


def _work(piece: Piece) -> Done:
    return solve_piece(piece, *_PREPARED["menu"])


def solve_piece(piece: Piece, foods: FoodTable, options: MenuOptions, refused: Mapping[str, str] = {}) -> Done:
    """Parse and solve one piece of a menu and lay its tables out as CSV lines."""
    lines, rows, odd = parsed(piece)
    frame = frame_of(piece.menu.header, lines, rows)
    tables = solve_menu(frame, foods, options, odd=odd, refused=refused)
    if piece.menu.sheet:
        tables.problems["place"] = _cells_of(tables.problems, piece.menu)
    outcomes = tables.servings["outcome"]
    solved = int((outcomes == "solved").sum())
    counts = {"solved": solved, "impossible": len(outcomes) - solved,
              "unreadable": int(tables.problems.index.nunique())}
    names = [*tables.servings["recipe"].tolist(), *tables.problems["recipe"].drop_duplicates().tolist()]
    return Done(rendered(tables), counts, {hash_of(name): name for name in names}, piece.size)


def _cells_of(problems: Any, menu: Opened) -> list[str]:
    """In which cell of the workbook each problem is; in a recipe file that is said already."""
    columns = {name: number for number, name in enumerate(menu.header, 1)}
    return [place if file else menu.place(int(line), columns.get(column, 0))
            for line, column, file, place in zip(*(problems[name].tolist() for name in
                                                   ("line", "column", "file", "place")), strict=True)]


def hash_of(name: str) -> int:
    """A name as a number, the same in every process."""
    return int.from_bytes(blake2b(name.encode("utf-8", "replace"), digest_size=8).digest(), "big")

