"""What commands write: all or nothing, never over what was read, and one line where it cannot be written."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ratio_solver.cli import main
from ratio_solver.errors import BadInput
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.output.files import File, write_files
from tests.test_cli import MASH, ROOT


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, arguments)


@pytest.fixture
def mash(tmp_path: Path) -> str:
    path = tmp_path / "mash.toml"
    path.write_text(MASH, encoding="utf-8")
    return str(path)


def shell(line: str) -> subprocess.CompletedProcess[str]:
    command = line.replace("SOLVER", f"{sys.executable} -m ratio_solver")
    return subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False, cwd=ROOT,
                          env=os.environ | {"PYTHONPATH": str(ROOT)})


@pytest.mark.parametrize("line, words", [
    ("SOLVER solve RECIPE >&-", "is closed"),
    ("SOLVER check RECIPE --format json >/dev/full", "No space left"),
    ("SOLVER solve RECIPE -o /dev/full", "No space left"),
    ("SOLVER --help >/dev/full", "No space left"),
])
def test_output_that_cannot_be_written_is_one_line(mash: str, line: str, words: str) -> None:
    done = shell(line.replace("RECIPE", mash))
    assert done.returncode == 1 and words in done.stderr and len(done.stderr.splitlines()) == 1


def test_a_closed_stdout_does_not_keep_a_file_from_being_written(mash: str, tmp_path: Path) -> None:
    done = shell(f"SOLVER solve {mash} -o {tmp_path}/out.txt >&-")
    assert (done.returncode, done.stderr) == (0, "")
    assert "solved" in (tmp_path / "out.txt").read_text(encoding="utf-8")


def test_a_reader_that_has_enough_is_no_fault(mash: str) -> None:
    done = shell(f"SOLVER foods a --format csv | head -1; exit ${{PIPESTATUS[1]}}; # {mash}")
    assert done.stderr == "" and done.stdout.startswith("food,")


def test_a_stream_takes_its_place_among_the_output(mash: str, tmp_path: Path) -> None:
    done = shell(f"echo before >{tmp_path}/log; SOLVER solve {mash} -o /dev/stdout >>{tmp_path}/log")
    written = (tmp_path / "log").read_text(encoding="utf-8")
    assert done.returncode == 0 and written.startswith("before\nCeleriac mash  solved")


@pytest.mark.parametrize("options, words", [
    (("--write", "RECIPE"), "--write: RECIPE: is the recipe too"),
    (("-o", "RECIPE"), "-o: RECIPE: is the recipe too"),
    (("-o", "DIR/./mash.toml"), "is the recipe too"),
    (("-o", "DIR/link.toml"), "is the recipe too"),
    (("-o", "DIR/hard.toml"), "is the recipe too"),
    (("-o", "DIR/a", "--write", "DIR/../DIRNAME/a"), "is the file of -o too"),
    (("--foods", "DIR/own.csv", "-o", "DIR/own.csv"), "is a table of --foods too"),
])
def test_nothing_read_is_written_over(mash: str, tmp_path: Path, options: tuple[str, ...], words: str) -> None:
    (tmp_path / "own.csv").write_text("food,carb_basis,fat_g,protein_g,carbs_g\nx,available,1,1,1\n", "utf-8")
    (tmp_path / "link.toml").symlink_to(mash)
    os.link(mash, tmp_path / "hard.toml")
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}

    def put(text: str) -> str:
        return text.replace("RECIPE", mash).replace("DIRNAME", tmp_path.name).replace("DIR", str(tmp_path))

    result = run("solve", mash, *map(put, options))
    assert (result.exit_code, result.stdout) == (1, "")
    assert put(words) in result.stderr
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.parametrize("options, words", [
    (("-o", "DIR/lines.txt"), "is the recipe too"), (("-o", "DIR/link.txt"), "is the recipe too"),
    (("--foods", "DIR/own.csv", "-o", "DIR/own.csv"), "is a table of --foods too"),
])
def test_a_draft_is_not_written_over_what_it_is_made_of(tmp_path: Path, options: tuple[str, ...], words: str) -> None:
    (tmp_path / "lines.txt").write_text("Dip\n\n200 g sour cream\n", "utf-8")
    (tmp_path / "own.csv").write_text("food,carb_basis,fat_g,protein_g,carbs_g\nx,available,1,1,1\n", "utf-8")
    (tmp_path / "link.txt").symlink_to(tmp_path / "lines.txt")
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    result = run("draft", str(tmp_path / "lines.txt"), *(text.replace("DIR", str(tmp_path)) for text in options))
    assert (result.exit_code, result.stdout) == (1, "") and words in result.stderr
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_no_package_goes_into_a_table_that_comes_with_the_program() -> None:
    before = bundled_path().read_bytes()
    label = ["--label", "eu", "--per", "100", "--fat", "9", "--carbs", "1", "--protein", "2"]
    result = run("foods", "add", "paste", *label, "--to", str(bundled_path()))
    assert result.exit_code == 1 and "comes with the package" in result.stderr
    assert bundled_path().read_bytes() == before


def test_a_plot_does_not_take_the_place_of_the_recipe(tmp_path: Path) -> None:
    recipe = tmp_path / "mash.svg"
    recipe.write_text(MASH, encoding="utf-8")
    assert run("curve", str(recipe), "--plot", str(recipe)).exit_code == 1
    assert recipe.read_text(encoding="utf-8") == MASH


@pytest.mark.parametrize("result", [(), ("-o", "DIR/out.txt")])
def test_exit_1_has_written_and_printed_nothing(mash: str, tmp_path: Path, result: tuple[str, ...]) -> None:
    done = run("solve", mash, *(text.replace("DIR", str(tmp_path)) for text in result),
               "--write", str(tmp_path / "nowhere" / "w.toml"))
    assert (done.exit_code, done.stdout) == (1, "") and "--write" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["mash.toml"]


def test_no_weights_no_recipe_and_that_is_said(mash: str, tmp_path: Path) -> None:
    target = tmp_path / "w.toml"
    done = run("solve", mash, "--ratio", "9", "--write", str(target))
    assert done.exit_code == 3 and "nothing written" in done.stderr and not target.exists()


@pytest.mark.parametrize("option", [("--write", "w.toml"), ("--scale-error", "1"), ("--measures",)])
def test_options_about_one_answer_do_not_go_with_scenarios(mash: str, option: tuple[str, ...]) -> None:
    done = run("solve", mash, "--what-if", "ratio=1.5", *option)
    assert done.exit_code == 2 and option[0] in done.stderr


def test_links_are_followed_and_permissions_kept(tmp_path: Path) -> None:
    target, link = tmp_path / "target", tmp_path / "link"
    target.write_text("old", "utf-8")
    target.chmod(0o640)
    link.symlink_to(target)
    write_files([File(str(link), "new")])
    assert link.is_symlink() and target.read_text("utf-8") == "new" and target.stat().st_mode & 0o777 == 0o640


def test_all_files_or_none(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("old", "utf-8")
    with pytest.raises(BadInput, match="cannot be written"):
        write_files([File(str(tmp_path / "a"), "new"), File(str(tmp_path / "nowhere" / "b"), "new", "--write")])
    assert {path.name: path.read_text("utf-8") for path in tmp_path.iterdir()} == {"a": "old"}


def test_a_pipe_is_written_to_and_stays(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_files([File(str(pipe), "new")])
        assert os.read(reader, 10) == b"new" and pipe.is_fifo()
    finally:
        os.close(reader)


@pytest.mark.parametrize("arguments, name", [
    (("solve", ""), "RECIPE"), (("solve", "MASH", "-o", ""), "-o"), (("check", "MASH", "--foods", ""), "--foods"),
])
def test_an_empty_path_is_told(mash: str, arguments: tuple[str, ...], name: str) -> None:
    done = run(*(text.replace("MASH", mash) for text in arguments))
    assert done.exit_code == 1 and done.stderr == f"{name}: got ''; expected the path of a file\n"
