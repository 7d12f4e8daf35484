"""A folder of menus on a local cluster of two workers: the tables of one process."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import load_foods, run_menu
from ratio_solver.cli import main
from ratio_solver.foods.table import bundled_path
from tests.bench.menus import write_menu


def test_two_workers_equal_one_process(tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="the extra dask is not installed")
    (tmp_path / "menus").mkdir()
    for number in (1, 2, 3):
        write_menu(tmp_path / "menus" / f"{number}.csv", 40 * number, number, bundled_path())
        run_menu(tmp_path / "menus" / f"{number}.csv", tmp_path / f"one{number}", load_foods(), workers=1)
    result = CliRunner().invoke(main, ["menu", str(tmp_path / "menus"), "-o", str(tmp_path / "out"), "--workers", "2"])
    assert result.exit_code == 0, result.output
    assert "240 recipes: 240 solved" in result.stderr
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {f"{table}-part000{number}.csv" for table in ("weights", "servings", "limits", "problems")
                     for number in (1, 2, 3)} | {"cautions.txt"}
    for number in (1, 2, 3):
        for table in ("weights", "servings", "limits", "problems"):
            one = (tmp_path / f"one{number}" / f"{table}.csv").read_bytes()
            assert (tmp_path / "out" / f"{table}-part000{number}.csv").read_bytes() == one


def test_no_files(tmp_path: Path) -> None:
    for path in (str(tmp_path), str(tmp_path / "*.csv")):
        result = CliRunner().invoke(main, ["menu", path, "-o", str(tmp_path / "out")])
        assert result.exit_code == 1
        assert "expected CSV files" in result.stderr
