"""A folder of menus: on processes of this machine, which nothing can reach, and on a cluster that is there already.

The threads that a cluster leaves keep later processes from being forked, which is slow: it comes late in the alphabet.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, FoodTable, load_foods, run_menu, solve_frame, solve_frames
from ratio_solver.cli import main
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.menu import run, workers
from ratio_solver.menu.workers import Done, PieceTask
from tests.bench.menus import write_menu

ROOT = Path(__file__).resolve().parents[2]
TABLES = ("weights", "servings", "limits", "problems")
LISTENS = "0A"
"""State of a socket that listens (Linux, proc(5) and include/net/tcp_states.h)."""


@pytest.fixture
def menus(tmp_path: Path) -> Path:
    """A folder with menus of 12, 24 and 36 recipes."""
    (tmp_path / "menus").mkdir()
    for number in (1, 2, 3):
        write_menu(tmp_path / "menus" / f"{number}.csv", 12 * number, number, bundled_path())
    return tmp_path / "menus"


def test_two_workers_equal_one_process(menus: Path, tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["menu", str(menus), "-o", str(tmp_path / "out"), "--workers", "2"])
    assert result.exit_code == 0, result.output
    assert "72 recipes: 72 solved" in result.stderr
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {f"{table}-part000{number}.csv" for table in TABLES for number in (1, 2, 3)} | {"cautions.txt"}
    same_as_alone(menus, tmp_path / "out", tmp_path)


def same_as_alone(menus: Path, out: Path, scratch: Path) -> None:
    """The tables of many files are those that each gives by itself."""
    for number in (1, 2, 3):
        run_menu(menus / f"{number}.csv", scratch / f"one{number}", load_foods(), workers=1)
        for table in TABLES:
            one = (scratch / f"one{number}" / f"{table}.csv").read_bytes()
            assert (out / f"{table}-part000{number}.csv").read_bytes() == one


def test_a_menu_without_recipes_has_tables_too(menus: Path, tmp_path: Path) -> None:
    (menus / "0.csv").write_text("recipe,servings,food,grams\n", encoding="utf-8")
    (menus / "2.csv").write_text("recipe,servings,food,grams\n", encoding="utf-8")
    counts = run_menu(sorted(menus.iterdir()), tmp_path / "out", load_foods(), workers=2)
    assert counts["solved"] == 48
    texts = [(tmp_path / "out" / f"servings-part000{number}.csv").read_text("utf-8") for number in (1, 2, 3, 4)]
    assert [len(text.splitlines()) for text in texts] == [1, 13, 1, 37]


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="needs the list of sockets of Linux")
def test_nothing_listens(menus: Path, tmp_path: Path) -> None:
    """While a folder of menus is solved no process of the command has a socket that another could connect to."""
    write_menu(menus / "4.csv", 700, 4, bundled_path())
    command = subprocess.Popen(
        [sys.executable, "-m", "ratio_solver", "menu", str(menus), "-o", str(tmp_path / "out"), "--workers", "2"],
        env=os.environ | {"PYTHONPATH": str(ROOT)}, stderr=subprocess.PIPE)
    most, listening = 0, set()
    while command.poll() is None:
        family = [command.pid, *children(command.pid)]
        most = max(most, len(family))
        listening |= {socket for process in family for socket in sockets(process)}
        time.sleep(0.01)
    assert command.stderr is not None
    assert command.returncode == 0, command.stderr.read()
    assert most >= 3, "the processes were not seen at work"
    assert not listening


def children(process: int) -> list[int]:
    """Numbers of the processes that a process has started, and that these have."""
    try:
        text = "".join(path.read_text() for path in Path(f"/proc/{process}/task").glob("*/children"))
    except OSError:
        return []
    return [child for number in map(int, text.split()) for child in (number, *children(number))]


def sockets(process: int) -> Iterator[str]:
    """Addresses at which a process listens, IPv4, IPv6 or the path of a local one."""
    try:
        own = {os.readlink(item) for item in Path(f"/proc/{process}/fd").iterdir()}
        for name in ("tcp", "tcp6"):
            for line in Path(f"/proc/{process}/net/{name}").read_text().splitlines()[1:]:
                cells = line.split()
                if cells[3] == LISTENS and f"socket:[{cells[9]}]" in own:
                    yield cells[1]
        for line in Path(f"/proc/{process}/net/unix").read_text().splitlines()[1:]:
            cells = line.split()
            if int(cells[3], 16) & 0x10000 and f"socket:[{cells[6]}]" in own:
                yield cells[-1]
    except OSError:
        return


@pytest.fixture
def certificates(tmp_path: Path) -> dict[str, str]:
    """A certificate that is its own authority, made for this test."""
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not there to make a certificate")
    cert, key = str(tmp_path / "cert.pem"), str(tmp_path / "key.pem")
    subprocess.run(["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost",
                    "-keyout", key, "-out", cert], check=True, capture_output=True)
    return {"ca": cert, "cert": cert, "key": key}


def test_a_cluster_with_certificates(menus: Path, tmp_path: Path, certificates: dict[str, str]) -> None:
    """Two workers of a cluster that takes only who shows its certificate: the same tables; without it no answer."""
    dask = pytest.importorskip("distributed", reason="the extra dask is not installed")
    security = dask.Security(tls_ca_file=certificates["ca"], tls_scheduler_cert=certificates["cert"],
                             tls_scheduler_key=certificates["key"], tls_worker_cert=certificates["cert"],
                             tls_worker_key=certificates["key"], tls_client_cert=certificates["cert"],
                             tls_client_key=certificates["key"], require_encryption=True)
    with dask.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, security=security,
                           protocol="tls://") as there:
        asked = ["menu", str(menus), "-o", str(tmp_path / "out"), "--cluster", there.scheduler_address]
        files = [word for name, file in certificates.items() for word in (f"--tls-{name}", file)]
        result = CliRunner().invoke(main, [*asked, *files])
        assert result.exit_code == 0, result.output
        same_as_alone(menus, tmp_path / "out", tmp_path)
        refused = CliRunner().invoke(main, asked)
        assert refused.exit_code == 1 and "--cluster" in refused.stderr and "cannot be reached" in refused.stderr


def test_files_of_certificates_go_together(menus: Path, tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["menu", str(menus), "-o", str(tmp_path / "out"), "--tls-ca", "x"])
    assert result.exit_code == 2 and "--cluster tls://" in result.stderr


@pytest.mark.parametrize("count", [2, 1])
def test_a_worker_that_is_killed_in_mid_run_loses_nothing(count: int, tmp_path: Path) -> None:
    """Its pieces are done again; of a lone worker the table, too, is made again by the one that takes its place."""
    dask = pytest.importorskip("distributed", reason="the extra dask is not installed")
    (tmp_path / "menus").mkdir()
    for number in range(1, 10):
        write_menu(tmp_path / "menus" / f"{number}.csv", 12, number, bundled_path())
    files = sorted((tmp_path / "menus").iterdir())
    run_menu(files, tmp_path / "here", load_foods(), workers=1)
    killed: list[int] = []
    with dask.LocalCluster(n_workers=count, threads_per_worker=1, dashboard_address=None) as there:

        def kill(done: int, total: int) -> None:
            if not killed and done < total / 2:
                killed.append(next(iter(there.workers.values())).pid)
                os.kill(killed[0], signal.SIGKILL)

        counts = run_menu(files, tmp_path / "there", load_foods(), cluster=there.scheduler_address, progress=kill)
    assert killed and counts == {"solved": 108, "impossible": 0, "unreadable": 0}
    for path in (tmp_path / "here").iterdir():
        assert (tmp_path / "there" / path.name).read_bytes() == path.read_bytes(), path.name


def test_a_piece_that_the_scheduler_gives_up_is_done_once_more(tmp_path: Path) -> None:
    """A scheduler that forgives no worker: the piece that was on it is handed over again."""
    dask = pytest.importorskip("distributed", reason="the extra dask is not installed")
    config = pytest.importorskip("dask", reason="the extra dask is not installed").config
    (tmp_path / "menus").mkdir()
    write_menu(tmp_path / "menus" / "1.csv", 3, 1, bundled_path())
    mark = tmp_path / "ended once"
    with config.set({"distributed.scheduler.allowed-failures": 0}), \
            dask.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as there:
        solved = workers.on_cluster([Ending(mark, 1), Ending(mark, 2)], load_foods(), there.scheduler_address, {})
        assert [found for _, found in solved] == [1, 2]
    assert mark.exists()


@dataclass(frozen=True)
class Ending:
    """A task during which its worker ends, the first time."""

    mark: Path
    number: int
    place = ("here", "there")

    def solved(self, foods: FoodTable) -> int:
        if self.number == 1 and not self.mark.exists():
            self.mark.touch()
            os._exit(1)
        return self.number


def test_pieces_of_several_files_are_under_way_at_once(tmp_path: Path) -> None:
    """The first two tasks wait until both have begun; few are ahead of the one that is given next."""
    dask = pytest.importorskip("distributed", reason="the extra dask is not installed")
    with dask.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as there:
        taken: list[int] = []

        def tasks() -> Iterator[Meeting]:
            for number in range(30):
                taken.append(number)
                yield Meeting(tmp_path, number)

        for count, (_, found) in enumerate(workers.on_cluster(tasks(), load_foods(), there.scheduler_address, {})):
            assert found == count and len(taken) <= count + 2 * 2 + 2
    assert len(taken) == 30


@dataclass(frozen=True)
class Meeting:
    """A task that waits, if it is one of the first two, until the other has begun as well."""

    folder: Path
    number: int
    place = ("here", "there")

    def solved(self, foods: FoodTable) -> int:
        (self.folder / f"{self.number}").touch()
        for _ in range(6000):
            if self.number > 1 or (self.folder / f"{1 - self.number}").exists():
                return self.number
            time.sleep(0.01)
        raise AssertionError("the other has not begun")


def test_frames_are_solved_in_order_and_not_ahead(tmp_path: Path) -> None:
    """Partitions in processes: as one after the other, and no more of them are taken than may wait."""
    write_menu(tmp_path / "menu.csv", 40, 3, bundled_path())
    whole = pd.read_csv(tmp_path / "menu.csv", dtype=str, keep_default_na=False)
    places = pd.factorize(whole["recipe"])[0] // 4
    parts = [whole[places == k] for k in range(10)]
    taken: list[int] = []

    def partitions() -> Iterator[pd.DataFrame]:
        for number, part in enumerate(parts):
            taken.append(number)
            yield part

    found = []
    for frame in solve_frames(partitions(), workers=2):
        found.append(frame)
        assert len(taken) <= len(found) + 2 * 2 + 1
    assert len(found) == 10
    for frame, part in zip(found, parts, strict=True):
        pd.testing.assert_frame_equal(frame, solve_frame(part))


def test_frames_on_a_cluster(tmp_path: Path) -> None:
    dask = pytest.importorskip("distributed", reason="the extra dask is not installed")
    write_menu(tmp_path / "menu.csv", 6, 3, bundled_path())
    whole = pd.read_csv(tmp_path / "menu.csv", dtype=str, keep_default_na=False)
    with dask.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as there:
        found = list(solve_frames([whole] * 3, cluster=there.scheduler_address))
    for frame in found:
        pd.testing.assert_frame_equal(frame, solve_frame(whole))
    assert len(found) == 3


def test_a_lost_worker_of_a_cluster_is_a_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A process that ends in the middle of a piece: said, without a traceback, and nothing is written."""
    dask = pytest.importorskip("distributed", reason="the extra dask is not installed")
    config = pytest.importorskip("dask", reason="the extra dask is not installed").config
    (tmp_path / "menus").mkdir()
    write_menu(tmp_path / "menus" / "1.csv", 2, 1, bundled_path())
    monkeypatch.setattr(run, "PieceTask", EndingPiece)
    with config.set({"distributed.scheduler.allowed-failures": 0}), \
            dask.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as there, \
            pytest.raises(BadInput, match="lost") as bad:
        run_menu([tmp_path / "menus" / "1.csv"], tmp_path / "out", load_foods(), cluster=there.scheduler_address)
    assert bad.value.faults[0].place == "from line 2"
    assert [item.name for item in tmp_path.iterdir()] == ["menus"]


def test_a_lost_process_is_a_fault(menus: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "_work", ends)
    monkeypatch.setattr(workers, "SENT_TOGETHER", 1)
    with pytest.raises(BadInput, match="ended") as bad:
        run_menu(sorted(menus.iterdir()), tmp_path / "out", load_foods(), workers=2)
    assert bad.value.faults[0].place == "from line 2"
    assert [item.name for item in tmp_path.iterdir()] == ["menus"]


def ends(*_: object) -> None:
    os._exit(1)


class EndingPiece(PieceTask):
    """A piece with which every worker ends."""

    def solved(self, foods: FoodTable) -> Done:
        os._exit(1)


def test_no_files(tmp_path: Path) -> None:
    for path in (str(tmp_path), str(tmp_path / "*.csv")):
        result = CliRunner().invoke(main, ["menu", path, "-o", str(tmp_path / "out")])
        assert result.exit_code == 1
        assert re.search("expected CSV files", result.stderr)
