"""A folder of menus on a local cluster of two workers: the tables of one process.

The threads that this leaves keep later processes from being forked, which is slow: it comes late in the alphabet.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, load_foods, run_menu
from ratio_solver.cli import main
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.menus import cluster
from ratio_solver.menus.cluster import run_menus
from tests.bench.menus import write_menu


def test_two_workers_equal_one_process(tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="the extra dask is not installed")
    (tmp_path / "menus").mkdir()
    for number in (1, 2, 3):
        write_menu(tmp_path / "menus" / f"{number}.csv", 12 * number, number, bundled_path())
        run_menu(tmp_path / "menus" / f"{number}.csv", tmp_path / f"one{number}", load_foods(), workers=1)
    result = CliRunner().invoke(main, ["menu", str(tmp_path / "menus"), "-o", str(tmp_path / "out"), "--workers", "2"])
    assert result.exit_code == 0, result.output
    assert "72 recipes: 72 solved" in result.stderr
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {f"{table}-part000{number}.csv" for table in ("weights", "servings", "limits", "problems")
                     for number in (1, 2, 3)} | {"cautions.txt"}
    for number in (1, 2, 3):
        for table in ("weights", "servings", "limits", "problems"):
            one = (tmp_path / f"one{number}" / f"{table}.csv").read_bytes()
            assert (tmp_path / "out" / f"{table}-part000{number}.csv").read_bytes() == one


def test_a_lost_worker_is_a_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A process that ends in the middle of a piece: said, without a traceback, and nothing is written."""
    dask = pytest.importorskip("dask", reason="the extra dask is not installed")
    pytest.importorskip("distributed", reason="the extra dask is not installed")
    (tmp_path / "menus").mkdir()
    write_menu(tmp_path / "menus" / "1.csv", 2, 1, bundled_path())
    monkeypatch.setattr(cluster, "solve_piece", ends)
    with dask.config.set({"distributed.scheduler.allowed-failures": 0}), pytest.raises(BadInput, match="lost") as bad:
        run_menus([tmp_path / "menus" / "1.csv"], tmp_path / "out", load_foods(), workers=1)
    assert bad.value.faults[0].place == "from line 2"
    assert [item.name for item in tmp_path.iterdir()] == ["menus"]


def ends(*_: object) -> None:
    os._exit(1)


def test_no_files(tmp_path: Path) -> None:
    for path in (str(tmp_path), str(tmp_path / "*.csv")):
        result = CliRunner().invoke(main, ["menu", path, "-o", str(tmp_path / "out")])
        assert result.exit_code == 1
        assert "expected CSV files" in result.stderr
