"""The folder of results: all files of a complete run or none, whatever happens."""

from __future__ import annotations

import contextlib
import csv
import importlib
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, load_foods, run_menu
from ratio_solver.cli import main
from ratio_solver.foods.bundled import bundled_path
from tests.bench.menus import write_menu
from tests.menu.drawing import TIMES

ROOT = Path(__file__).resolve().parent.parent.parent
FILES = {"weights.csv", "servings.csv", "limits.csv", "problems.csv", "cautions.txt"}
KILLS = int(os.environ.get("MENU_KILLS", "3"))
FIRST = 600 * TIMES
"""Recipes of a menu that is killed; three times as many go to several processes."""


def complete(folder: Path, names: set[str]) -> bool:
    """Whether the folder holds every file of a run that solved these recipes."""
    assert {path.name for path in folder.iterdir()} == FILES
    with (folder / "servings.csv").open(encoding="utf-8", newline="") as file:
        assert {row["recipe"] for row in csv.DictReader(file)} == names
    with (folder / "weights.csv").open(encoding="utf-8", newline="") as file:
        assert {row["recipe"] for row in csv.DictReader(file)} == names
    return True


def test_killed_at_any_moment_there_are_all_files_or_none(tmp_path: Path) -> None:
    menus = {}
    for name, count in (("first", FIRST), ("second", FIRST + 50)):
        write_menu(tmp_path / f"{name}.csv", count, 5, bundled_path())
        menus[name] = {f"dish {number}" for number in range(count)}
    out = tmp_path / "out"

    def command(name: str) -> list[str]:
        return [sys.executable, "-m", "ratio_solver", "menu", str(tmp_path / f"{name}.csv"), "-o", str(out), "--exact"]

    begin = time.monotonic()
    subprocess.run(command("first"), check=True, cwd=ROOT, capture_output=True)
    length = time.monotonic() - begin
    rng = random.Random(1)
    results = set()
    for moment in range(KILLS):
        process = subprocess.Popen(command(("second", "first")[moment % 2]), cwd=ROOT, stderr=subprocess.DEVNULL)
        time.sleep(length * (rng.uniform(0.2, 1.1) if moment % 3 else 1.0))
        process.send_signal(signal.SIGKILL)
        process.wait()
        if out.exists():
            with (out / "servings.csv").open(encoding="utf-8") as file:
                name = "second" if sum(1 for _ in file) > FIRST + 1 else "first"
            assert complete(out, menus[name])
            results.add(name)
    assert results, "the folder was looked at while runs were killed"
    run_menu(tmp_path / "second.csv", out, load_foods())
    assert complete(out, menus["second"])
    left = {path.name for path in tmp_path.iterdir()}
    assert left == {"first.csv", "second.csv", "out"}, "what killed runs left is tidied by the next"


def test_another_folder_is_not_replaced(tmp_path: Path) -> None:
    write_menu(tmp_path / "menu.csv", 3, 5, bundled_path())
    out = tmp_path / "out"
    out.mkdir()
    (out / "diary.txt").write_text("mine")
    result = CliRunner().invoke(main, ["menu", str(tmp_path / "menu.csv"), "-o", str(out)])
    assert result.exit_code == 1
    assert "diary.txt" in result.stderr
    assert [path.name for path in out.iterdir()] == ["diary.txt"]
    (out / "diary.txt").unlink()
    assert CliRunner().invoke(main, ["menu", str(tmp_path / "menu.csv"), "-o", str(out)]).exit_code == 0
    assert {path.name for path in out.iterdir()} == FILES
    file = CliRunner().invoke(main, ["menu", str(tmp_path / "menu.csv"), "-o", str(tmp_path / "menu.csv")])
    assert file.exit_code == 1
    assert "file" in file.stderr


def test_the_command_line_and_its_exit_codes(tmp_path: Path) -> None:
    lines = ["recipe,servings,ratio,food,grams,min,max"]
    dishes = (("good", "2", "butter, salted"), ("hard", "900", "butter, salted"), ("bad", "2", "buter"))
    for name, ratio, food in dishes:
        lines += [f'{name},2,{ratio},"{food}",10,0,100', f'{name},,,"cheddar",100,,']
    for count, code, words in ((2, 0, "1 solved"), (4, 3, "1 impossible"), (6, 1, "1 unreadable")):
        (tmp_path / "menu.csv").write_text("\n".join(lines[: count + 1]) + "\n", encoding="utf-8")
        result = CliRunner().invoke(main, ["menu", str(tmp_path / "menu.csv"), "-o", str(tmp_path / "out")])
        assert result.exit_code == code, result.output
        assert result.stdout == ""
        assert words in result.stderr
        assert "\x1b" not in result.stderr
        assert {path.name for path in (tmp_path / "out").iterdir()} == FILES, "written, whatever the exit code"
    command = ["menu", str(tmp_path / "menu.csv"), "-o"]
    eased = CliRunner().invoke(main, [*command, str(tmp_path / "out"), "--ratio", "2:1"])
    assert "2 solved, 0 impossible, 1 unreadable" in eased.stderr
    wrong = CliRunner().invoke(main, [*command, str(tmp_path / "new"), "--ratio", "x"])
    assert wrong.exit_code == 1
    assert not (tmp_path / "new").exists()


def test_example_week(tmp_path: Path) -> None:
    """The week of the examples, long form and by file: as `solve` prints it, where the dish has a file."""
    counts = {"week-menu": "8 recipes: 6 solved, 2 impossible", "week-by-file": "10 recipes: 7 solved, 3 impossible"}
    for name, expected in counts.items():
        result = CliRunner().invoke(main, ["menu", f"{ROOT}/examples/{name}.csv", "-o", str(tmp_path / name)])
        assert result.exit_code == 3
        assert expected in result.stderr
    shown = CliRunner().invoke(main, ["solve", f"{ROOT}/examples/salmon-soup.toml", "--format", "csv"]).stdout
    theirs = [row["grams"] for row in csv.DictReader(shown.splitlines())]
    with (tmp_path / "week-by-file" / "weights.csv").open(encoding="utf-8", newline="") as file:
        mine = [row["grams"] for row in csv.DictReader(file) if row["recipe"] == "Wednesday: salmon soup"]
    assert [float(cell) for cell in mine] == [float(cell) for cell in theirs]
    cautions = (tmp_path / "week-menu" / "cautions.txt").read_text(encoding="utf-8")
    assert "no medical advice" in cautions
    with (tmp_path / "week-menu" / "servings.csv").open(encoding="utf-8", newline="") as file:
        salad = next(row for row in csv.DictReader(file) if row["recipe"].startswith("Wednesday lunch"))
    assert "3:1" in salad["caution"], "the stronger one"
    assert salad["allergens"] == "eggs; milk"


def test_a_workbook_in_and_out(tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl", reason="the extra xlsx is not installed")
    write_menu(tmp_path / "menu.csv", 20, 5, bundled_path())
    book = openpyxl.Workbook()
    with (tmp_path / "menu.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.reader(file):
            book.active.append([float(cell) if cell.replace(".", "", 1).isdigit() else cell for cell in row])
    book.save(tmp_path / "menu.xlsx")
    foods = load_foods()
    run_menu(tmp_path / "menu.csv", tmp_path / "csv", foods)
    run_menu(tmp_path / "menu.xlsx", tmp_path / "xlsx", foods, xlsx=True)
    assert {path.name for path in (tmp_path / "xlsx").iterdir()} == {"menu.xlsx", "cautions.txt"}
    sheets = openpyxl.load_workbook(tmp_path / "xlsx" / "menu.xlsx")
    assert sheets.sheetnames == ["weights", "servings", "limits", "problems"]
    with (tmp_path / "csv" / "weights.csv").open(encoding="utf-8", newline="") as file:
        for text, cells in zip(csv.reader(file), sheets["weights"].iter_rows(values_only=True), strict=True):
            for one, other in zip(text, cells, strict=True):
                assert one == (other or "") or float(one) == other


def test_a_workbook_that_is_none_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "menu.xlsx").write_bytes(b"PK no workbook")
    result = CliRunner().invoke(main, ["menu", str(tmp_path / "menu.xlsx"), "-o", str(tmp_path / "out")])
    assert result.exit_code == 1
    assert "workbook" in result.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.skipif(not Path("/proc/self/cmdline").exists(), reason="looks for processes in /proc")
def test_a_killed_command_leaves_no_process_behind(tmp_path: Path) -> None:
    write_menu(tmp_path / "menu.csv", 6000, 5, bundled_path())
    command = [sys.executable, "-m", "ratio_solver", "menu", str(tmp_path / "menu.csv"), "-o", str(tmp_path / "out"),
               "--workers", "2"]

    def running() -> int:
        lines = []
        for path in Path("/proc").glob("[0-9]*/cmdline"):
            with contextlib.suppress(OSError):
                lines.append(path.read_bytes())
        return sum(str(tmp_path).encode() in line for line in lines)

    with subprocess.Popen(command, cwd=ROOT, stderr=subprocess.DEVNULL) as process:
        for _ in range(600):
            if running() >= 3 or process.poll() is not None:
                break
            time.sleep(0.05)
        assert running() >= 3, "two processes work for the command"
        process.kill()
    for _ in range(400):
        if not running():
            break
        time.sleep(0.05)
    assert not running()


@pytest.mark.parametrize(("library", "extra", "needs"), [
    ("openpyxl", "xlsx", "ratio_solver.menu.workbook:spreadsheets"),
    ("distributed", "dask", "ratio_solver.menu.workers:dask_library"),
])
def test_what_is_not_installed_is_asked_for_as_the_manual_installs_it(
    library: str, extra: str, needs: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The tool is installed from a clone, and so are its extras: it is under no name in an index."""
    module, _, function = needs.partition(":")
    monkeypatch.setitem(sys.modules, library, None)
    with pytest.raises(BadInput, match=rf"pip install '\.\[{extra}\]' in a clone"):
        getattr(importlib.import_module(module), function)()
    tour = Path(__file__).parents[2] / "examples" / "README.md"
    assert f"pip install '.[{extra}]'" in tour.read_text(encoding="utf-8")
