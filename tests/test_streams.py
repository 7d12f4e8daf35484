"""Streams, encodings, interrupts and what is left on the disk."""

from __future__ import annotations

import json
import os
import platform
import pty
import re
import select
import signal
import stat
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import draft
from ratio_solver.cli import main
from ratio_solver.foods.table import bundled_path
from tests.bench.menus import write_menu

ROOT = Path(__file__).resolve().parent.parent
DEAD = 2**31 - 1
"""A number that no process has."""

DISH = """title = "Gruyère ✓ 🥣"
servings = 2
[targets]
ratio = 2
net_carbs = 12
[[ingredients]]
food = "celeriac, raw"
label = "root ≈ ☃"
grams = 200
min = 100
max = 300
[[ingredients]]
food = "butter, salted"
grams = 100
min = 0
max = 300
[[ingredients]]
food = "parmesan, grated"
grams = 20
"""


@pytest.fixture
def dish(tmp_path: Path) -> Path:
    path = tmp_path / "dish.toml"
    path.write_text(DISH, encoding="utf-8")
    return path


def environment(**more: str) -> dict[str, str]:
    return os.environ | {"PYTHONPATH": str(ROOT)} | more


def solver(*arguments: object, **more: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run([sys.executable, "-m", "ratio_solver", *map(str, arguments)], capture_output=True,
                          check=False, env=environment(**more))


@pytest.mark.parametrize("encoding", ["cp1252", "latin-1", "cp437"])
def test_a_character_that_the_encoding_lacks_stops_nothing(encoding: str, dish: Path) -> None:
    text = solver("solve", dish, "--measures", PYTHONIOENCODING=encoding)
    assert (text.returncode, text.stderr) == (0, b"")
    shown = text.stdout.decode(encoding)
    assert shown.startswith("Gruyère \\u2713 \\ud83e\\udd63  solved")
    assert "~ " in shown if encoding != "cp437" else "≈ " in shown
    as_json = solver("solve", dish, "--format", "json", PYTHONIOENCODING=encoding)
    assert json.loads(as_json.stdout.decode(encoding))["title"] == "Gruyère ✓ 🥣"
    assert json.loads(as_json.stdout.decode(encoding))["weights"][0]["ingredient"] == "root ≈ ☃"
    as_csv = solver("solve", dish, "--format", "csv", PYTHONIOENCODING=encoding)
    assert as_csv.returncode == 0 and len(as_csv.stdout.splitlines()) == 4


@pytest.mark.parametrize("encoding", ["cp1252", "cp437"])
def test_a_draft_goes_to_any_encoding_and_to_a_file_in_full(encoding: str, tmp_path: Path) -> None:
    lines, out = tmp_path / "lines.txt", tmp_path / "dish.toml"
    lines.write_text("Gruyère ✓ bake\n\n½ kg celeriac\n80 g Gruyère ☃\n", encoding="utf-8")
    shown = solver("draft", lines, PYTHONIOENCODING=encoding)
    assert shown.returncode == 0 and b"Traceback" not in shown.stderr
    assert shown.stdout.decode(encoding).startswith('title = "Gruy')
    assert solver("draft", lines, "-o", out, PYTHONIOENCODING=encoding).returncode == 0
    assert out.read_text(encoding="utf-8").startswith('title = "Gruyère ✓ bake"')


def test_a_draft_reads_standard_input(tmp_path: Path) -> None:
    done = subprocess.run([sys.executable, "-m", "ratio_solver", "draft", "-"], capture_output=True, check=False,
                          input="Dip\n\n200 g crème fraîche\n".encode(), env=environment())
    assert done.returncode == 0 and b"grams = 200" in done.stdout
    wrong = subprocess.run([sys.executable, "-m", "ratio_solver", "draft", "-"], input=b"Dip\n\n200 g cr\xe8me\n",
                           capture_output=True, check=False, env=environment())
    assert wrong.returncode == 1 and wrong.stderr.splitlines() == [
        b"standard input: got byte 0xe8; expected UTF-8 text"]


def drafted_on_a_terminal(lines: Path, answers: list[bytes]) -> tuple[str, str]:
    """What draft prints on a terminal where each question gets its answer, and the file that it writes."""
    out = lines.with_name("dish.toml")
    main_end, end = pty.openpty()
    with subprocess.Popen([sys.executable, "-m", "ratio_solver", "draft", str(lines), "-o", str(out)], stdin=end,
                          stdout=end, stderr=end, env=environment(TERM="xterm", NO_COLOR="1")):
        os.close(end)
        shown = b""
        while select.select([main_end], [], [], 60)[0]:
            try:
                shown += os.read(main_end, 65536)
            except OSError:  # the other end is closed: all has been read
                break
            if answers and shown.endswith(b"[1]: "):
                os.write(main_end, answers.pop(0) + b"\n")
                shown += b"|"
    os.close(main_end)
    return shown.decode("utf-8"), out.read_text(encoding="utf-8")


@pytest.mark.parametrize(("answers", "food"), [
    ([b""], "white beans, canned"), ([b"3"], "green beans, raw"), ([b"x", b"9", b"2"], "white beans, raw"),
    ([b"0"], ""),
])
def test_on_a_terminal_draft_asks(answers: list[bytes], food: str, tmp_path: Path) -> None:
    """Enter takes the first, a number that candidate, 0 none; what is no number of the list is asked again."""
    lines = tmp_path / "lines.txt"
    lines.write_text("Pan\nServes 2\n\n300 g mountain beans\n50 g butter\n", encoding="utf-8")
    first = draft(lines.read_text(encoding="utf-8"), ask=lambda question: question.candidates[0])
    assert [one.food.name for line in first.lines for one in line.foods] == ["white beans, canned", "butter, unsalted"]
    times = len(answers)
    shown, written = drafted_on_a_terminal(lines, answers)
    assert shown.count("which food?") == times and answers == []
    assert "300 g mountain beans\r\n  1  white beans, canned\r\n  2  white beans, raw" in shown
    foods = [item["food"] for item in tomllib.loads(written)["ingredients"]]
    assert foods == [*([food] if food else []), "butter, unsalted"]
    assert "# 300 g mountain beans\n" in written and ("# check:" in written) == (not food)


def test_a_file_has_every_character_whatever_the_terminal_has(dish: Path) -> None:
    out = dish.with_name("out.txt")
    assert solver("solve", dish, "--measures", "-o", out, PYTHONIOENCODING="cp1252").returncode == 0
    assert out.read_text(encoding="utf-8").startswith("Gruyère ✓ 🥣  solved")


@pytest.mark.parametrize("columns", ["1", "20", "40"])
def test_a_narrow_terminal_cuts_no_figure(columns: str, dish: Path) -> None:
    """Lines of 80 columns, which the terminal breaks as it likes, rather than tables of one figure a column."""
    main_end, end = pty.openpty()
    with subprocess.Popen([sys.executable, "-m", "ratio_solver", "solve", str(dish)], stdout=end, stderr=end,
                          env=environment(COLUMNS=columns, TERM="xterm", NO_COLOR="1")):
        os.close(end)
        shown = b""
        while select.select([main_end], [], [], 60)[0]:
            try:
                shown += os.read(main_end, 65536)
            except OSError:  # the other end is closed: all has been read
                break
    os.close(main_end)
    wide = CliRunner().invoke(main, ["solve", str(dish)]).stdout
    plain = re.sub(rb"\x1b\[[0-9;]*m", b"", shown).decode("utf-8")
    assert [line.rstrip() for line in plain.splitlines()] == wide.splitlines()


@pytest.mark.parametrize("option, text", [
    ("--target", "a" + " " * 60_000 + "x"), ("--target", "protein" + " -" * 50_000),
    ("--ratio", "2" + " " * 90_000 + "x"), ("--target", "protein>=" + "1" * 90_000 + "x"),
    ("--what-if", "a" + " " * 60_000 + "x"), ("--what-if", "a.max" + " ." * 40_000),
    ("--what-if", "," * 90_000 + "x.max=1"),
])
def test_long_options_are_read_in_one_go(option: str, text: str, dish: Path) -> None:
    """Each took minutes and more where a pattern tried every place again."""
    result = CliRunner().invoke(main, ["solve", str(dish), option, text])
    assert result.exit_code == 1 and result.stderr.startswith(f"{option}: ")
    assert max(map(len, result.stderr.splitlines())) < 1500


@pytest.mark.skipif(os.name != "posix", reason="needs signals to a process")
def heeding_interrupts() -> None:
    """A command started in the background of a script inherits that interrupts are ignored."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.parametrize("whole_group", [False, True])
def test_an_interrupt_ends_a_menu_at_once(whole_group: bool, tmp_path: Path) -> None:
    """Ctrl-C reaches all processes of a terminal, a signal the command alone: the same end, and nothing is left."""
    write_menu(tmp_path / "menu.csv", 12_000, 1, bundled_path())
    command = subprocess.Popen([sys.executable, "-m", "ratio_solver", "menu", str(tmp_path / "menu.csv"), "-o",
                                str(tmp_path / "out"), "--workers", "2"], env=environment(), stderr=subprocess.PIPE,
                               start_new_session=True, preexec_fn=heeding_interrupts)
    children = Path(f"/proc/{command.pid}/task/{command.pid}/children")
    begun = time.monotonic()
    while time.monotonic() - begun < 60 and not (children.exists() and len(children.read_text().split()) > 1):
        time.sleep(0.05)
    time.sleep(0.5)
    (os.killpg if whole_group else os.kill)(command.pid, signal.SIGINT)
    _, told = command.communicate(timeout=5)
    assert command.returncode == 1 and told.strip() == b"Aborted!"
    assert [item.name for item in tmp_path.iterdir()] == ["menu.csv"]


def test_the_mode_of_a_folder_is_kept(tmp_path: Path) -> None:
    write_menu(tmp_path / "menu.csv", 1, 1, bundled_path())
    run = ["menu", str(tmp_path / "menu.csv"), "-o", str(tmp_path / "out")]
    assert CliRunner().invoke(main, run).exit_code == 0
    (tmp_path / "out").chmod(0o2750)
    assert CliRunner().invoke(main, run).exit_code == 0
    assert stat.S_IMODE((tmp_path / "out").stat().st_mode) == 0o2750


def test_what_a_killed_command_has_left_is_swept(dish: Path) -> None:
    beside = dish.parent
    left = beside / f".out.txt.unfinished-{platform.node()}-{DEAD}-abc"
    others = [beside / f".out.txt.unfinished-elsewhere-{DEAD}-abc", beside / ".other.unfinished-here-1-abc",
              beside / f".out.txt.unfinished-{platform.node()}-{os.getppid()}-abc"]
    for path in (left, *others):
        path.write_text("half")
    assert CliRunner().invoke(main, ["solve", str(dish), "-o", str(beside / "out.txt")]).exit_code == 0
    assert not left.exists() and all(path.exists() for path in others)
    assert sorted(path.name for path in beside.iterdir()) == sorted(["dish.toml", "out.txt", *(p.name for p in others)])


def test_a_name_as_long_as_may_be_can_be_written(dish: Path) -> None:
    out = dish.with_name("x" * 251 + ".txt")
    assert CliRunner().invoke(main, ["solve", str(dish), "-o", str(out)]).exit_code == 0
    assert sorted(path.name for path in dish.parent.iterdir()) == sorted(["dish.toml", out.name])


def test_what_cannot_be_read_ends_as_what_is_not_there(dish: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exit code 1 and one line with the file's name, for a file, a table and a menu."""
    there = str(dish)
    if os.geteuid() == 0:  # root reads everything: refuse in the name of the system
        opened = Path.open

        def refuses(self: Path, *arguments: object, **how: object) -> object:
            if self.suffix in (".toml", ".csv") and self.parent == dish.parent:
                raise PermissionError(13, "Permission denied", str(self))
            return opened(self, *arguments, **how)  # type: ignore[call-overload]

        monkeypatch.setattr(Path, "open", refuses)
    dish.chmod(0)
    (dish.parent / "own.csv").touch(0)
    monkeypatch.setattr(os, "access", lambda path, mode: os.path.exists(path) and mode != os.R_OK)
    own, missing = str(dish.parent / "own.csv"), str(dish.parent / "none.csv")
    for arguments, name in (
        (["solve", there], there), (["solve", missing], missing), (["solve", "-", "--foods", own], own),
        (["solve", "-", "--foods", missing], missing), (["menu", own, "-o", missing], own),
        (["menu", missing, "-o", f"{missing}.d"], missing), (["check", str(dish.parent)], str(dish.parent)),
    ):
        result = CliRunner().invoke(main, arguments)
        assert result.exit_code == 1, (arguments, result.output)
        assert result.stderr.startswith(f"{name}: cannot be read: ") and len(result.stderr.splitlines()) == 1


def test_a_refusal_of_the_system_says_what_was_being_done(dish: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import ratio_solver.tools.solve.command as solving

    def refuses(*_: object) -> None:
        raise OSError(28, "No space left on device", "/tmp/somewhere")

    monkeypatch.setattr(solving, "load_foods", refuses)
    result = CliRunner().invoke(main, ["solve", str(dish)])
    assert result.exit_code == 1
    assert result.stderr == f"{dish}: solve: got /tmp/somewhere; is refused by the system: No space left on device\n"


def test_what_nobody_has_thought_of_is_one_line(dish: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import ratio_solver.tools.check.command as checking
    import ratio_solver.tools.solve.command as solving
    from ratio_solver import NotProven

    def fails(error: Exception) -> None:
        for command in (checking, solving):
            monkeypatch.setattr(command, "load_foods", lambda *_: (_ for _ in ()).throw(error))

    fails(ZeroDivisionError("by \x1b[1A nothing\nsecond line"))
    result = CliRunner().invoke(main, ["solve", str(dish)])
    assert (result.exit_code, result.stderr) == (
        1, f"{dish}: solve: stopped by ZeroDivisionError: by \\x1b[1A nothing; this is a defect of ratio_solver\n")
    fails(NotProven("the answer misses ratio by 0.1 and is not shown"))
    result = CliRunner().invoke(main, ["check", str(dish)])
    assert result.stderr == f"{dish}: check: the answer misses ratio by 0.1 and is not shown\n"
