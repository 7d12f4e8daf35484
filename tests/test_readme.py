"""The README keeps its word: every command in it is run, and prints what it says."""

from __future__ import annotations

import os
import re
import shlex
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import ratio_solver
from ratio_solver.cli import main

ROOT = Path(__file__).resolve().parent.parent
README = ROOT / "README.md"
BLOCK = re.compile(r"```\n(\$ ratio-solver [^\n]*)\n(.*?)```", re.DOTALL)
UPDATE = bool(os.environ.get("UPDATE_EXPECTED"))


def blocks() -> list[tuple[str, str]]:
    return [(match[1], match[2]) for match in BLOCK.finditer(README.read_text(encoding="utf-8"))]


def printed(command: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """What a command of the README prints, run where the README lies."""
    monkeypatch.chdir(ROOT)
    result = CliRunner().invoke(main, shlex.split(command)[2:])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.stdout


@pytest.mark.parametrize("place", range(len(blocks())), ids=[command[2:60] for command, _ in blocks()])
def test_commands_print_what_the_readme_shows(place: int, monkeypatch: pytest.MonkeyPatch) -> None:
    command, shown = blocks()[place]
    output = printed(command, monkeypatch)
    if UPDATE:
        assert "PYTEST_XDIST_WORKER" not in os.environ, "one process at a time may write the README"
        text = README.read_text(encoding="utf-8")
        README.write_text(text.replace(f"{command}\n{shown}```", f"{command}\n{output}```"), encoding="utf-8")
        return
    pieces = [piece.strip("\n") for piece in re.split(r"^\s*\.\.\.$", shown, flags=re.MULTILINE)]
    pattern = r"\n.*?".join(re.escape(piece) for piece in pieces)
    assert re.fullmatch(pattern, output.strip("\n"), flags=re.DOTALL), f"{command} prints:\n{output}"


def test_every_command_is_in_the_readme() -> None:
    text = README.read_text(encoding="utf-8")
    context = click.Context(main)
    for name in main.list_commands(context):
        command = main.get_command(context, name)
        assert command is not None
        assert f"ratio-solver {name}" in text, name
        for option in command.params:
            for flag in option.opts:
                if flag.startswith("--"):
                    assert flag in text, f"{name} {flag}"


def test_two_commands_do_all_the_set_up() -> None:
    commands = re.findall(r"^python3 -m venv .*", README.read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert len(commands) == 2
    assert "ratio-solver solve" in commands[0] and "pytest" in commands[1]


def test_the_python_in_the_readme_runs(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(ROOT)
    [code] = re.findall(r"```python\n(.*?)```", README.read_text(encoding="utf-8"), flags=re.DOTALL)
    exec(compile(code, "README.md", "exec"), {})
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("solved 2.0")
    assert lines[1] == "potato 0.0 min"


def test_the_library_has_a_twin_of_every_command() -> None:
    text = README.read_text(encoding="utf-8")
    names = re.search(r"`from ratio_solver import (.*?)`", text, flags=re.DOTALL)
    assert names
    for name in names[1].replace("\n", " ").split(","):
        assert hasattr(ratio_solver, name.strip())
