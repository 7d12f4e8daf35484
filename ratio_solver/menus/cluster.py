"""A menu in many files, solved on a cluster: a folder or a pattern of CSV files in, a partitioned result out.

Every file is a partition of its own: its tables are ``weights-part0001.csv`` and so on, in the order of the files'
names. The pieces of all files are spread over the workers of the cluster; the tables are written here.
"""

from __future__ import annotations

import glob
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from ratio_solver.faults import BadInput, Fault
from ratio_solver.foods.table import FoodTable
from ratio_solver.menus.folder import CAUTIONS, refuse_inputs, whole_folder
from ratio_solver.menus.run import PIECE, Counts, Done, cores, refuse_recipes, solve_piece, write_tables
from ratio_solver.proposals.menus.menu import DEFAULT, MenuOptions
from ratio_solver.recipes import notices
from ratio_solver.recipes.menu_columns import menu_columns
from ratio_solver.recipes.menu_csv import Opened, Piece, open_menu, pieces
from ratio_solver.reports.menu_tables import caution_text


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


def run_menus(files: list[Path], folder: str | Path, foods: FoodTable, options: MenuOptions = DEFAULT, *,
              cluster: str | None = None, workers: int | None = None, inputs: Sequence[str | Path] = (),
              progress: Callable[[int, int], None] | None = None) -> Counts:
    """Solve the menus of many files on a cluster; all tables of all files are written, or none.

    Parameters
    ----------
    files : list of path
        Each a menu of its own.
    folder : path
        New, or the folder of an earlier run.
    foods : FoodTable
        Sent to the workers once.
    options : MenuOptions
    cluster : str, optional
        Address of a scheduler, as ``tcp://host:8786``; processes of this machine unless said.
    workers : int, optional
        Processes of a local cluster; as many as there are cores unless said.
    inputs : sequence of path
        As in `run_menu`.
    progress : callable, optional
        Called with the bytes done and the bytes there are.

    Raises
    ------
    BadInput
        Where a menu as a whole cannot be read, the cluster cannot be reached or loses a worker again and again, or
        the extra `dask` is missing. Nothing is written then.
    """
    target = Path(folder).resolve()
    refuse_inputs(target, [*files, *map(Path, inputs)])
    opened = [open_menu(file) for file in files]
    for menu in opened:
        menu_columns(menu.header, foods.columns, menu.source, menu.place)
    asked = [_asked(menu, options) for menu in opened]
    for menu, own in zip(opened, asked, strict=True):
        refuse_recipes(target, menu, own)
    total, done_bytes = sum(menu.size - menu.body for menu in opened), 0
    counts = {"solved": 0, "impossible": 0, "unreadable": 0}

    def told(done: Done) -> None:
        nonlocal done_bytes
        done_bytes += done.size
        if progress is not None:
            progress(done_bytes, total)

    with whole_folder(target) as place, _client(cluster, workers or cores()) as client:
        table = _shared(client, foods)
        for number, (menu, own) in enumerate(zip(opened, asked, strict=True), 1):
            finished = _on_cluster(client, pieces(menu, PIECE), table, own)
            for outcome, more in write_tables(place, f"-part{number:04}", finished, foods, own, told).items():
                counts[outcome] += more
        (place / CAUTIONS).write_text(caution_text((notices.CAUTION, notices.STRONG_CAUTION)), encoding="utf-8")
    return counts


def _asked(menu: Opened, options: MenuOptions) -> MenuOptions:
    """How a file is solved: its own decimal sign, and its folder for the names of recipe files."""
    return replace(options, decimal_comma=menu.delimiter == ";",
                   folder=options.folder or str(Path(menu.source).absolute().parent))


def _dask() -> Any:
    """The library for clusters."""
    try:
        import distributed
    except ImportError as error:
        wanted = "many files need the extra: pip install '.[dask]' in a clone of the repository"
        raise BadInput([Fault("menu", "", "", wanted)]) from error
    return distributed


@contextmanager
def _client(address: str | None, workers: int) -> Iterator[Any]:
    """A cluster to send pieces to; one of this machine ends with the block."""
    dask = _dask()
    with ExitStack() as stack:
        try:
            cluster = address if address is not None else stack.enter_context(
                dask.LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None))
            client = stack.enter_context(dask.Client(cluster, timeout=20))
        except (OSError, ValueError) as error:
            raise BadInput([Fault("--cluster", "", str(address or ""), f"cannot be reached: {error}")]) from error
        yield client


def _shared(client: Any, foods: FoodTable) -> Any:
    """The table, sent to every worker."""
    try:
        return client.scatter(foods, broadcast=True)
    except _lost() as error:
        raise BadInput([Fault("--cluster", "", "", f"has no worker that answers: {error}")]) from error


def _on_cluster(client: Any, cut: Iterator[Piece], foods: Any, options: MenuOptions) -> Iterator[tuple[Piece, Done]]:
    """Solve pieces on the workers, a few for each in flight, results in order."""
    most = 2 * max(1, len(client.scheduler_info()["workers"])) + 1
    waiting: deque[tuple[Piece, Any]] = deque()
    for piece in cut:
        waiting.append((piece, client.submit(solve_piece, piece, foods, options, pure=False)))
        if len(waiting) > most:
            first, future = waiting.popleft()
            yield first, _result(first, future)
    while waiting:
        first, future = waiting.popleft()
        yield first, _result(first, future)


def _result(piece: Piece, future: Any) -> Done:
    try:
        found: Done = future.result()
    except BadInput:
        raise
    except ImportError as error:
        raise BadInput([Fault("--cluster", "", "", f"a worker lacks what this needs: {error}")]) from error
    except _lost() as error:
        raise BadInput([Fault(piece.menu.source, f"from {piece.menu.place(piece.first_line)}", "",
                              "the worker that solved this was lost (out of memory?): try again, or with workers "
                              "that have more memory")]) from error
    return found


def _lost() -> tuple[type[Exception], ...]:
    """What is raised where a worker or the scheduler is gone."""
    return OSError, CancelledError, _dask().KilledWorker
