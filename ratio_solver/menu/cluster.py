"""A menu in many files: a folder or a pattern of CSV files in, a partitioned result out.

Every file is a partition of its own: its tables are ``weights-part0001.csv`` and so on, in the order of the files'
names. The pieces of all files are spread over the processes of this machine, or over the workers of a cluster that is
there already; the tables are written here.
"""

from __future__ import annotations

import glob
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import CancelledError
from contextlib import ExitStack, closing, contextmanager
from itertools import groupby
from pathlib import Path
from typing import Any

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.columns import menu_columns
from ratio_solver.menu.folder import refuse_inputs, whole_folder, writing
from ratio_solver.menu.processes import Counts, Done, Task, in_processes, solve_piece
from ratio_solver.menu.read import Opened, Piece, open_menu, pieces
from ratio_solver.menu.run import PIECE, Tables, asked_of, cores, refuse_recipes, write_cautions, write_tables
from ratio_solver.menu.solve import DEFAULT, MenuOptions


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
              cluster: str | None = None, tls: Mapping[str, str] | None = None, workers: int | None = None,
              inputs: Sequence[str | Path] = (), progress: Callable[[int, int], None] | None = None) -> Counts:
    """Solve the menus of many files; all tables of all files are written, or none.

    Parameters
    ----------
    files : list of path
        Each a menu of its own.
    folder : path
        New, or the folder of an earlier run.
    foods : FoodTable
    options : MenuOptions
    cluster : str, optional
        Address of a Dask scheduler, as ``tls://host:8786``; processes of this machine unless said. Whoever controls
        the scheduler or a worker can run what he likes in this process and sees all that is sent.
    tls : mapping, optional
        Files for a connection that is encrypted and known on both sides: "ca", "cert" and "key".
    workers : int, optional
        Processes of this machine; as many as there are cores unless said.
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
    asked = [asked_of(menu, options) for menu in opened]
    for menu, own in zip(opened, asked, strict=True):
        refuse_recipes(target, menu, own)
    total, done_bytes = sum(menu.size - menu.body for menu in opened), 0
    counts = {"solved": 0, "impossible": 0, "unreadable": 0}

    def told(done: Done) -> None:
        nonlocal done_bytes
        done_bytes += done.size
        if progress is not None:
            progress(done_bytes, total)

    tasks = ((piece, own) for menu, own in zip(opened, asked, strict=True) for piece in pieces(menu, PIECE))
    with whole_folder(target) as place, ExitStack() as stack:
        if cluster is None:
            solved = in_processes(tasks, foods, workers or cores())
        else:
            solved = _on_cluster(stack.enter_context(_client(cluster, tls or {})), tasks, foods)
        finished = stack.enter_context(closing(solved))
        for number, those in enumerate(_by_menu(opened, finished), 1):
            for outcome, more in write_tables(Tables(target, place, f"-part{number:04}"), those, foods, told).items():
                counts[outcome] += more
        with writing(target):
            write_cautions(place)
    return counts


def _by_menu(opened: Sequence[Opened], finished: Iterable[tuple[Task, Done]]
             ) -> Iterator[Iterator[tuple[Task, Done]]]:
    """For each menu what has been solved of it; for one without recipes nothing."""
    groups = groupby(finished, key=lambda one: one[0][0].menu)
    following = next(groups, None)
    for menu in opened:
        if following is None or following[0] != menu:
            yield iter(())
            continue
        yield following[1]
        following = next(groups, None)


def _dask() -> Any:
    """The library for clusters."""
    try:
        import distributed
    except ImportError as error:
        wanted = "many files need the extra: pip install '.[dask]' in a clone of the repository"
        raise BadInput([Fault("menu", "", "", wanted)]) from error
    return distributed


@contextmanager
def _client(address: str, tls: Mapping[str, str]) -> Iterator[Any]:
    """A cluster to send pieces to."""
    dask = _dask()
    try:
        security = dask.Security(tls_ca_file=tls.get("ca"), tls_client_cert=tls.get("cert"),
                                 tls_client_key=tls.get("key"), require_encryption=True) if tls else None
        client = dask.Client(address, timeout=20, security=security)
    except (OSError, ValueError, TypeError, RuntimeError) as error:
        raise BadInput([Fault("--cluster", "", address, f"cannot be reached: {error}")]) from error
    with client:
        yield client


def _shared(client: Any, foods: FoodTable) -> Any:
    """The table, sent to every worker."""
    try:
        return client.scatter(foods, broadcast=True)
    except _lost() as error:
        raise BadInput([Fault("--cluster", "", "", f"has no worker that answers: {error}")]) from error


def _on_cluster(client: Any, tasks: Iterable[Task], foods: FoodTable) -> Generator[tuple[Task, Done], None, None]:
    """Solve pieces on the workers, a few for each in flight, results in order."""
    table = _shared(client, foods)
    most = 2 * max(1, len(client.scheduler_info()["workers"])) + 1
    waiting: deque[tuple[Task, Any]] = deque()
    for piece, options in tasks:
        waiting.append(((piece, options), client.submit(solve_piece, piece, table, options, pure=False)))
        if len(waiting) > most:
            first, future = waiting.popleft()
            yield first, _result(first[0], future)
    while waiting:
        first, future = waiting.popleft()
        yield first, _result(first[0], future)


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
