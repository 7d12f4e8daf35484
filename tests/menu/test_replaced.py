"""What a run may replace: a folder of earlier results, and never what it reads or what somebody has put there."""

from __future__ import annotations

import os
import platform
import stat
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ratio_solver import BadInput, load_foods, run_menu
from ratio_solver.cli import main
from ratio_solver.foods.bundled import bundled_path
from ratio_solver.output.folder import whole_folder
from tests.bench.menus import write_menu

CAUTIONS = "cautions.txt"


def menu(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["menu", *(str(argument) for argument in arguments)])


@pytest.fixture
def week(tmp_path: Path) -> Path:
    """A folder of an earlier run."""
    write_menu(tmp_path / "menu.csv", 2, 5, bundled_path())
    run_menu(tmp_path / "menu.csv", tmp_path / "week", load_foods())
    return tmp_path / "week"


def refused(result: Result, *words: str) -> None:
    """A fault of -o that says these words."""
    assert result.exit_code == 1, result.output
    assert "-o" in result.stderr
    for word in words:
        assert word in result.stderr


@pytest.mark.parametrize("name", ["menu.xlsx", "weights.csv", "servings.csv"])
@pytest.mark.parametrize("cautions", [False, True])
def test_the_menu_itself_is_never_replaced(name: str, cautions: bool, tmp_path: Path) -> None:
    """Even under a name of ours, even beside cautions of an earlier run."""
    folder = tmp_path / "week"
    folder.mkdir()
    write_menu(folder / name, 2, 5, bundled_path())
    if cautions:
        (folder / CAUTIONS).write_text("earlier")
    before = (folder / name).read_bytes()
    refused(menu(folder / name, "-o", folder), "input", name)
    assert (folder / name).read_bytes() == before
    assert [item.name for item in tmp_path.iterdir()] == ["week"]


def test_links_and_other_spellings_lead_to_the_same_folder(week: Path) -> None:
    write_menu(week / "weights.csv", 2, 5, bundled_path())
    (week.parent / "linked.csv").symlink_to(week / "weights.csv")
    (week.parent / "other").symlink_to(week)
    (week / "deeper").mkdir()
    for source, target in ((week.parent / "linked.csv", week), (week / "weights.csv", week.parent / "other"),
                           (week / "deeper" / ".." / "weights.csv", week)):
        refused(menu(source, "-o", target), "input")


def test_tables_of_the_foods_are_never_replaced(week: Path) -> None:
    (week / "limits.csv").write_bytes(bundled_path().read_bytes())
    result = menu(week.parent / "menu.csv", "-o", week, "--foods", week / "limits.csv")
    refused(result, "input", "limits.csv")
    assert (week / "limits.csv").read_bytes() == bundled_path().read_bytes()


def test_recipe_files_of_a_menu_are_never_replaced(week: Path) -> None:
    (week / "problems.csv").write_text('title = "A dish"\nservings = 1\n')
    (week.parent / "files.csv").write_text("file,ratio\nelsewhere.toml,2\nweek/problems.csv,2\n")
    refused(menu(week.parent / "files.csv", "-o", week), "input", "problems.csv")
    assert (week / "problems.csv").read_text().startswith("title")


def test_many_menus_are_never_replaced(week: Path) -> None:
    for source in (week, f"{week}/*.csv"):
        refused(menu(source, "-o", week), "servings.csv", "weights.csv")
    assert len(list(week.iterdir())) == 5


def test_files_of_our_names_without_the_cautions_are_no_earlier_run(week: Path) -> None:
    (week / CAUTIONS).unlink()
    refused(menu(week.parent / "menu.csv", "-o", week), "limits.csv", CAUTIONS)
    for item in week.iterdir():
        item.unlink()
    assert menu(week.parent / "menu.csv", "-o", week).exit_code == 0, "an empty folder may be filled"


def test_a_folder_or_a_link_of_our_name_is_not_ours(week: Path) -> None:
    (week / "menu.xlsx").mkdir()
    refused(menu(week.parent / "menu.csv", "-o", week), "menu.xlsx")


def test_what_is_put_there_meanwhile_is_kept(week: Path) -> None:
    with pytest.raises(BadInput, match="notes"), whole_folder(week) as place:
        (place / CAUTIONS).write_text("new")
        (week / "notes.txt").write_text("mine")
    assert (week / "notes.txt").read_text() == "mine"
    assert sorted(item.name for item in week.parent.iterdir()) == ["menu.csv", "week"]


def test_a_workspace_of_a_dead_process_with_our_number_is_tidied(week: Path) -> None:
    own = week.parent / f".week.unfinished-{platform.node()}-{os.getpid()}-abc"
    elsewhere = week.parent / ".week.unfinished-far-away-7-abc"
    for workspace in (own, elsewhere):
        (workspace / "new").mkdir(parents=True)
    with whole_folder(week) as place:
        (place / CAUTIONS).write_text("outer")
        with whole_folder(week) as inner:  # two at once in one process: neither takes the other's
            (inner / CAUTIONS).write_text("inner")
        assert place.is_dir()
    assert (week / CAUTIONS).read_text() == "outer"
    assert not own.exists()
    assert elsewhere.exists(), "whether a process of another machine lives is not known"


def test_an_earlier_result_comes_back_when_a_run_is_killed_between_the_renames(week: Path) -> None:
    workspace = week.parent / f".week.unfinished-{platform.node()}-{2**31 - 1}-abc"
    workspace.mkdir()
    week.rename(workspace / "before")
    with pytest.raises(RuntimeError), whole_folder(week):
        raise RuntimeError("a run that fails")
    assert (week / "weights.csv").is_file()
    assert not workspace.exists()


def test_the_results_have_the_usual_permissions(week: Path) -> None:
    (week.parent / "usual").mkdir()
    assert stat.S_IMODE(week.stat().st_mode) == stat.S_IMODE((week.parent / "usual").stat().st_mode)


def test_options_that_do_nothing_are_refused(week: Path) -> None:
    for source, option in ((week.parent / "menu.csv", ("--cluster", "tcp://localhost:1")),
                           (week, ("--workers", "2", "--cluster", "tcp://localhost:1")),
                           (week, ("--format", "xlsx"))):
        result = menu(source, "-o", week.parent / "out", *option)
        assert result.exit_code == 2, result.output
        assert option[0] in result.stderr
    assert not (week.parent / "out").exists()
