"""Solve a menu, or the menus of many files, into a folder of tables: in pieces, on all cores, in little memory.

Of many files every one is a partition of its own: its tables are ``weights-part0001.csv`` and so on, in the order of
the files' names. The pieces of all files are spread over the processes of this machine, or over the workers of a
cluster that is there already; the tables are written here.
"""

from __future__ import annotations

import glob
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, closing
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from ratio_solver.dish.cautions import cautions
from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.table import FoodTable, load_foods
from ratio_solver.menu.columns import menu_columns
from ratio_solver.menu.read import Opened, files_named, open_menu, pieces
from ratio_solver.menu.results import csv_lines, table_columns
from ratio_solver.menu.solve import NAMED_BEFORE, NO_OPTIONS, MenuOptions
from ratio_solver.menu.workbook import open_sheet, write_workbook
from ratio_solver.menu.workers import (
    Batch,
    Counts,
    Done,
    Finished,
    FrameTask,
    PieceTask,
    Solving,
    batches,
    in_processes,
    on_cluster,
    solve_piece,
)
from ratio_solver.output.folder import CAUTIONS_FILE, refuse_inputs, whole_folder, writing
from ratio_solver.output.json_csv import harmless

if TYPE_CHECKING:
    import pandas as pd

COPY = "menu.csv"
"""The first sheet of a workbook, while it is solved."""

PIECE = 1 << 20
"""Characters of a menu solved at a time by one process: some 1,500 recipes."""


def menu_files(path: str) -> list[Path] | None:
    """The CSV files of a folder or a pattern, by name; None where the path is one file.

    Raises
    ------
    BadInput
        Where there are none.
    """
    if Path(path).is_dir():
        found = sorted(Path(path).glob("*.csv"))
    elif any(sign in path for sign in "*?[") and not Path(path).exists():
        found = sorted(Path(name) for name in glob.glob(path))
    else:
        return None
    if not found:
        raise BadInput([Fault(path, "", "", "expected CSV files")])
    return found


def run_menu(path: str | Path | Sequence[str | Path], folder: str | Path, foods: FoodTable,
             options: MenuOptions = NO_OPTIONS, *, workers: int | None = None, cluster: str | None = None,
             tls: Mapping[str, str] | None = None, xlsx: bool = False, inputs: Sequence[str | Path] = (),
             progress: Callable[[int, int], None] | None = None) -> Counts:
    """Solve a menu into a folder: weights, servings, limits and problems, all of them or none.

    Parameters
    ----------
    path : path or sequence of path
        The menu, CSV or a workbook (.xlsx); or CSV files, each a menu of its own with tables of its own.
    folder : path
        New, or the folder of an earlier run, which is replaced.
    foods : FoodTable
    options : MenuOptions
    workers : int, optional
        Processes of this machine; as many as there are cores unless said.
    cluster : str, optional
        Address of a Dask scheduler, as ``tls://host:8786``, for many files; this machine unless said.
    tls : mapping, optional
        Files for a connection to it that is encrypted and known on both sides: "ca", "cert" and "key".
    xlsx : bool
        Write one workbook in place of the four CSV files of a menu.
    inputs : sequence of path
        What else was read, as the tables of the foods: where the folder holds any of it, nothing is written.
    progress : callable, optional
        Called with the bytes done and the bytes there are.

    Returns
    -------
    dict
        Number of recipes "solved", "impossible" and "unreadable"; its attribute `alone` of those that took the
        per-recipe solver.

    Raises
    ------
    BadInput
        Where a menu as a whole cannot be read, the folder cannot be written or holds what was read, or the cluster
        cannot be reached, loses a worker again and again or lacks its extra. Nothing is written then.

    Examples
    --------
    >>> import tempfile
    >>> from ratio_solver import load_foods, run_menu
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     run_menu("examples/week-menu.csv", f"{folder}/week", load_foods(), workers=1)
    {'solved': 6, 'impossible': 2, 'unreadable': 0}
    """
    one = isinstance(path, str | Path)
    files = [Path(file) for file in ([path] if isinstance(path, str | Path) else path)]
    target = Path(folder).resolve()
    counts = Counts(solved=0, impossible=0, unreadable=0)
    with whole_folder(target, [*files, *map(Path, inputs)]) as place:
        menus = [open_sheet(file, place / COPY) if one and file.suffix.lower() == ".xlsx" else open_menu(file)
                 for file in files]
        for menu in menus:
            menu_columns(menu.header, foods.columns, menu.source, menu.place)
        asked = [options.of_menu(menu) for menu in menus]
        if target.is_dir():
            for menu, own in zip(menus, asked, strict=True):
                refuse_inputs(target, (Path(own.folder) / name for name in files_named(menu)))
        tasks = (PieceTask(piece, own) for menu, own in zip(menus, asked, strict=True) for piece in pieces(menu, PIECE))
        with closing(_solved_by(batches(tasks), foods, workers, cluster, tls)) as solved:
            total = sum(menu.size - menu.body for menu in menus)
            for number, pieces_of in enumerate(_by_menu(menus, _followed(solved, progress, total)), 1):
                with writing(target):
                    _write_tables(place, "" if one else f"-part{number:04}", pieces_of, foods, counts)
        with writing(target):
            if xlsx:
                write_workbook(place)
            (place / COPY).unlink(missing_ok=True)
            (place / CAUTIONS_FILE).write_text("\n\n".join(cautions()) + "\n", encoding="utf-8")
    return counts


def solve_frames(frames: Iterable[pd.DataFrame], foods: FoodTable | None = None, options: MenuOptions = NO_OPTIONS, *,
                 workers: int | None = None, cluster: str | None = None,
                 tls: Mapping[str, str] | None = None) -> Iterator[pd.DataFrame]:
    """`solve_frame` of the partitions of a menu, in their order: on all cores, or on a cluster.

    Partitions are taken as they are needed, a few for each worker ahead of the one that is given next, so that a menu
    need not fit into memory; what a worker of a cluster had that is lost is done again.

    Parameters
    ----------
    frames : iterable of DataFrame
        Each of whole recipes, as in `solve_frame`.
    foods : FoodTable, optional
        The bundled table unless given.
    options : MenuOptions
    workers, cluster, tls
        As in `run_menu`.

    Returns
    -------
    iterator of DataFrame
        As of `solve_frame`, in the order of the partitions.

    Raises
    ------
    BadInput
        As in `solve_frame`, or where a process or a cluster is lost.

    Examples
    --------
    >>> import pandas as pd
    >>> from ratio_solver import solve_frames
    >>> week = pd.read_csv("examples/week-menu.csv")
    >>> found = list(solve_frames([week, week], workers=1))
    >>> len(found), found[1]["outcome"].unique().tolist()
    (2, ['solved', 'impossible'])
    """
    table = foods if foods is not None else load_foods()
    tasks = (FrameTask(frame, options, number) for number, frame in enumerate(frames, 1))
    with closing(_solved_by(tasks, table, workers, cluster, tls)) as solved:
        for _, frame in solved:
            yield frame


def _solved_by(tasks: Iterable[Solving], foods: FoodTable, workers: int | None, cluster: str | None,
               tls: Mapping[str, str] | None) -> Finished[Solving]:
    """Tasks solved on a cluster where one is named, else in processes."""
    if cluster is not None:
        return on_cluster(tasks, foods, cluster, tls or {})
    return in_processes(tasks, foods, workers or cores())


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _followed(finished: Finished[Batch], progress: Callable[[int, int], None] | None,
              total: int) -> Iterator[tuple[PieceTask, Done]]:
    """The pieces that are finished, and after each how far it is."""
    size = 0
    for batch, found in finished:
        for task, done in zip(batch.tasks, found, strict=True):
            yield task, done
            size += done.size
            if progress is not None:
                progress(size, total)


def _by_menu(menus: Sequence[Opened], finished: Iterable[tuple[PieceTask, Done]]
             ) -> Iterator[Iterator[tuple[PieceTask, Done]]]:
    """For each menu what has been solved of it; for one without recipes nothing."""
    groups = groupby(finished, key=lambda one: one[0].piece.menu)
    following = next(groups, None)
    for menu in menus:
        if following is None or following[0] != menu:
            yield iter(())
            continue
        yield following[1]
        following = next(groups, None)


def _write_tables(place: Path, suffix: str, finished: Iterable[tuple[PieceTask, Done]], foods: FoodTable,
                  counts: Counts) -> None:
    """Write the pieces of a menu, in their order, into the files of a folder; a name may not come again.

    Names are kept as hashes: a million take some tens of MB.
    """
    seen: set[int] = set()
    with ExitStack() as stack:
        files = {}
        for name, columns in table_columns(foods).items():
            files[name] = stack.enter_context((place / f"{name}{suffix}.csv").open("wb"))
            files[name].write(csv_lines([[harmless(column)] for column in columns]))
        for task, done in finished:
            again = {name: NAMED_BEFORE for name in done.names if hash(name) in seen}
            if again:  # a name that stands further up: the piece is solved again without it
                done = solve_piece(task.piece, foods, task.options, again)
            seen.update(map(hash, done.names))
            for name, text in done.texts.items():
                files[name].write(text)
            for outcome, number in done.counts.items():
                counts[outcome] += number
            counts.alone += done.counts.alone
