"""Twenty thousand mutated files, and some hundred of them by default: no traceback, no hang, nothing half written.

What is found is a fault with its place, or an answer. The last resort, which keeps a defect from costing more than one
recipe, counts as a failure here.
"""

from __future__ import annotations

import csv
import os
import random
import re
import signal
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from ratio_solver.cli import main
from ratio_solver.output.folder import CAUTIONS_FILE
from tests.hostile.mutations import KINDS, write_mutated

FILES = int(os.environ.get("HOSTILE_FILES", "20000"))
"""How many files the long run mutates."""
SECONDS = 10
FAULT = re.compile(r"(?:[^\n]*/)?(mutated\.toml|mash\.toml|soup\.toml|foods\.csv|menu\.csv|menu\.xlsx|foods|swap|"
                   r"week\.csv|written\.txt|page\.html|draft|--[a-z-]+)(?::|,|$)")
TABLES = ("weights", "servings", "limits", "problems")

RECIPE_COMMANDS: Sequence[Sequence[str]] = (
    ["solve", "F"], ["solve", "F", "--exact"], ["solve", "F", "--prefer", "even"], ["solve", "F", "--guaranteed"],
    ["solve", "F", "--format", "json", "-o", "O"], ["solve", "F", "--format", "csv"], ["check", "F"],
    ["solve", "F", "--what-if", "ratio=3", "--what-if", "servings=3,net_carbs=9"],
    ["solve", "F", "--scale-error", "2", "--measures"], ["solve", "F", "--write", "O"],
    ["solve", "F", "--scale", "2", "--prefer", "lightest"], ["card", "F", "-o", "O"],
    ["card", "F", "--as-written", "--label", "us"], ["add-fat", "F", "--with", "butter, salted", "--with", "olive oil"],
    ["curve", "F", "--of", "net-carbs"], ["curve", "F", "--format", "json"], ["shopping", "F"], ["portions", "F"],
    ["portions", "F", "--portion-grams", "90"], ["swap", "F", "butter, salted", "olive oil"],
    ["adjust", "F", "--weighed", "butter, salted=60"], ["adjust", "F", "--added", "celeriac", "--write", "O"],
)
FOODS_COMMANDS: Sequence[Sequence[str]] = (
    ["solve", "mash.toml", "--foods", "F"], ["solve", "soup.toml", "--foods", "F", "--prefer", "lightest"],
    ["solve", "soup.toml", "--foods", "F", "--prefer", "cheapest"], ["check", "soup.toml", "--foods", "F"],
    ["foods", "show", "celeriac, raw", "--foods", "F"], ["foods", "raw", "--foods", "F", "--format", "csv"],
    ["card", "soup.toml", "--foods", "F", "-o", "O"], ["shopping", "mash.toml", "--foods", "F"],
    ["add-fat", "soup.toml", "--foods", "F", "--with", "butter, salted"], ["curve", "soup.toml", "--foods", "F"],
    ["solve", "mash.toml", "--foods", "F", "--guaranteed", "--target", "Omega-3>=0.001"],
)
MENU_COMMANDS: Sequence[Sequence[str]] = (
    ["menu", "F", "-o", "D"], ["menu", "F", "-o", "D", "--exact"], ["menu", "F", "-o", "D", "--ratio", "3"],
    ["menu", "F", "-o", "D", "--prefer", "lightest"], ["menu", "F", "-o", "D", "--guaranteed"],
    ["menu", "F", "-o", "D", "--format", "xlsx"],
)
DRAFT_COMMANDS: Sequence[Sequence[str]] = (
    ["draft", "F"], ["draft", "F", "-o", "O"], ["draft", "F", "--bounds", "30", "-o", "O"],
    ["draft", "F", "--bounds", "100", "--ratio", "2:1", "--net-carbs", "9"], ["draft", "F", "--measures", "us"],
    ["draft", "F", "--measures", "uk", "--servings", "3", "-o", "O"],
)
DAY_COMMANDS: Sequence[Sequence[str]] = (
    ["day", "F"], ["day", "F", "--exact"], ["day", "F", "--together", "--format", "json"], ["day", "F", "-o", "O"],
    ["prescription", "F"], ["prescription", "F", "--format", "csv"], ["shopping", "F"],
)
WEEK_COMMANDS: Sequence[Sequence[str]] = (
    ["day", "F", "--people", "people.toml"], ["day", "F", "--people", "people.toml", "--format", "csv"],
    ["day", "F", "--people", "people.toml", "-o", "O"], ["shopping", "F", "--people", "people.toml"],
)
COMMANDS: Mapping[str, Sequence[Sequence[str]]] = {
    "recipe": RECIPE_COMMANDS, "foods": FOODS_COMMANDS,
    "long menu": MENU_COMMANDS, "by-file menu": MENU_COMMANDS, "workbook": MENU_COMMANDS,
    "written recipe": DRAFT_COMMANDS, "saved page": DRAFT_COMMANDS,
    "day": DAY_COMMANDS, "week": WEEK_COMMANDS,
}


class Hang(BaseException):
    """A command that has run too long; no handler of the package takes it for an error of an input."""


@contextmanager
def limited(seconds: float) -> Iterator[None]:
    def stop(*_: object) -> None:
        raise Hang

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def run(kind: str, seed: int, folder: Path) -> tuple[list[str], str]:
    """Mutate, run one command on it and look at what it did: the arguments, and what is wrong or the exit code."""
    path = write_mutated(kind, seed, folder)
    rng = random.Random(seed)
    names = {"F": str(path), "O": str(folder / "out"), "D": str(folder / "results"),
             "mash.toml": str(folder / "mash.toml"), "soup.toml": str(folder / "soup.toml"),
             "people.toml": str(folder / "people.toml")}
    arguments = [names.get(word, word) for word in rng.choice(COMMANDS[kind])]
    before = {item.name for item in folder.iterdir()}
    try:
        with limited(SECONDS):
            result = CliRunner().invoke(main, arguments)
    except Hang:
        return arguments, "took too long"
    made = {item.name for item in folder.iterdir()} - before
    return arguments, wrong(result, arguments, made, folder) or f"exit {result.exit_code}"


def wrong(result: Result, arguments: Sequence[str], made: set[str], folder: Path) -> str:
    """What must not be, or nothing."""
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        return f"raised {result.exception!r:.300}"
    if result.exit_code not in (0, 1, 3):
        return f"left with {result.exit_code}: {result.stderr[:300]}"
    told = result.stdout + result.stderr
    if "Traceback" in told or "stopped by" in told:
        return f"stopped: {told[:300]}"
    if re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2028\u2029]", told):
        return f"control characters in {told[:300]!r}"
    if arguments[0] == "menu":
        return _wrong_menu(result, made, folder)
    if made - {"out"} or (made and result.exit_code == 1):
        return f"left {made} behind"
    if arguments[0] == "draft" and result.exit_code == 0:
        return _wrong_draft(folder / "out" if made else None, result)
    return _wrong_lines(result) if result.exit_code == 1 else ""


def _wrong_draft(path: Path | None, result: Result) -> str:
    """What is written is a recipe file of the keys that a draft has, and no line of it forges another."""
    try:
        read = tomllib.loads(path.read_text(encoding="utf-8") if path else result.stdout)
    except tomllib.TOMLDecodeError as error:
        return f"no TOML: {error}"
    beyond = set(read) - {"title", "servings", "method", "targets", "ingredients", "parts"}
    return f"keys {beyond}" if beyond else ""


def _wrong_lines(result: Result) -> str:
    lines = result.stderr.splitlines()
    nowhere = [line for line in lines if not FAULT.match(line)]
    return "" if lines and not nowhere else f"faults without a place: {nowhere[:3] or 'none at all'}"


def _wrong_menu(result: Result, made: set[str], folder: Path) -> str:
    if not made:
        return _wrong_lines(result) if result.exit_code == 1 else f"left with {result.exit_code} and no results"
    if made != {"results"}:
        return f"left {made} behind"
    names = {item.name for item in (folder / "results").iterdir()}
    if names == {"menu.xlsx", CAUTIONS_FILE}:
        return ""
    if names != {CAUTIONS_FILE, *(f"{name}.csv" for name in TABLES)}:
        return f"a folder with {names}"
    tables = {name: _rows(folder / "results" / f"{name}.csv") for name in TABLES}
    counted = [int(number.replace(",", "")) for number in re.findall(r"([\d,]+) (?:solved|impossible|unreadable)",
                                                                     result.stderr)]
    solved = {row["recipe"] for row in tables["servings"] if row["outcome"] == "solved"}
    if solved != {row["recipe"] for row in tables["weights"]} or counted[0] != len(solved):
        return f"{counted} counted, {len(solved)} with weights"
    placed = [row for row in tables["problems"] if not int(row["line"]) >= 2]
    stopped = [row for row in tables["problems"] if "stopped by" in row["message"]]
    if placed or stopped:
        return f"problems {(placed + stopped)[:2]}"
    expected = 1 if counted[2] else 3 if counted[1] else 0
    return "" if result.exit_code == expected else f"left with {result.exit_code}, counted {counted}"


def _rows(path: Path) -> list[dict[str, Any]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def swept(kind: str, seeds: range, tmp_path: Path) -> Counter[str]:
    """Outcomes of many mutated files; every wrong one is told with its seed."""
    outcomes: Counter[str] = Counter()
    failures = []
    for seed in seeds:
        folder = tmp_path / str(seed)
        folder.mkdir()
        arguments, outcome = run(kind, seed, folder)
        outcomes[outcome if outcome.startswith("exit") else "failed"] += 1
        if not outcome.startswith("exit"):
            failures.append(f"{kind} {seed}: {' '.join(arguments)}: {outcome}")
    print(f"{kind}: {sum(outcomes.values())} files, {dict(outcomes)}")
    assert not failures, "\n".join(failures[:50])
    return outcomes


@pytest.mark.parametrize("kind", KINDS)
def test_some_mutated_files(kind: str, tmp_path: Path) -> None:
    outcomes = swept(kind, range(80 if kind == "day" else 30), tmp_path)  # few of so many keys are left sound
    assert outcomes["exit 1"] > 2 and sum(outcomes.values()) - outcomes["exit 1"] > 0


@pytest.mark.slow
@pytest.mark.parametrize("part", range(10))
@pytest.mark.parametrize("kind", KINDS)
def test_many_mutated_files(kind: str, part: int, tmp_path: Path) -> None:
    each = FILES // (len(KINDS) * 10)
    swept(kind, range(1000 + part * each, 1000 + (part + 1) * each), tmp_path)
