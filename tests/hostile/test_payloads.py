"""Texts in every field, every command and every format: the same structure as with a plain text, nothing live.

Each command runs twice, with the payload and with letters that take the same room. What it gives must agree, sign by
sign, everywhere but where those letters stand: so nothing can be forged, added, hidden or moved.
"""

from __future__ import annotations

import csv
import io
import json
import os
import random
import re
import tomllib
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from ratio_solver.cli import main
from ratio_solver.output.json_csv import harmless
from tests.hostile.payloads import ARGUMENTS, COMMANDS, FIELDS, NARROW, PAYLOADS, WIDE, allowed, plain, write_files

MARKUP = {"<", "&"}
"""What a page says in these is markup, which draft takes away: tests/recipe/test_pages.py has that."""

COMBINATIONS = [(field, command, payload) for field in FIELDS for command in COMMANDS for payload in PAYLOADS
                if (command == field if field in ARGUMENTS else command not in ARGUMENTS)
                and not (command in ("draft", "draft -o") and MARKUP & set(payload))]
LONG = int(os.environ.get("HOSTILE_COMBINATIONS", "2400"))
UNSEEN = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u200b\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]")
LIVE = re.compile(r"[\s\"]*[=+\-@\uff1d\uff0b\uff0d\uff20]")
NUMBER = re.compile(r"[+-]?[0-9.,]+(?:[eE][+-]?[0-9]+)?")
MASK = {NARROW, WIDE}


def given(folder: Path, field: str, command: str, text: str, payload: str) -> dict[str, bytes]:
    """What a command prints and writes, by name; the exit code among it."""
    folder.mkdir(parents=True)
    write_files(folder, field, text)
    before = {path.name for path in folder.iterdir()}
    arguments = [*COMMANDS[command](payload)]
    where = Path.cwd()
    os.chdir(folder)
    try:
        alone = command in ("package", "brand") or (command == "foods" and field == "id")
        tables = [] if alone else ["--foods", "foods.csv"]
        result = CliRunner().invoke(main, [*arguments, *tables])
    finally:
        os.chdir(where)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert "stopped by" not in result.stderr, result.stderr
    found = {"stdout": result.stdout_bytes, "stderr": result.stderr_bytes, "exit": str(result.exit_code).encode()}
    for path in sorted(folder.rglob("*")):
        if path.is_file() and path.relative_to(folder).parts[0] not in before:
            found[str(path.relative_to(folder))] = path.read_bytes()
    return found


def same(one: str, other: str) -> bool:
    """Whether two texts agree wherever the second has no letter that stands for the payload."""
    return len(one) == len(other) and all(a == b or b in MASK for a, b in zip(one, other, strict=True))


def masked(text: str) -> str:
    """A text with each run of letters that stand for the payload as one sign."""
    return re.sub(f"[{NARROW}{WIDE}]+(?: [{NARROW}{WIDE}]+)*", "*", text)


HASH = "sha256"
"""Key of a table's hash, which is another where the payload stands in the table itself."""


def fits(one: object, other: object) -> bool:
    """Whether a value agrees with its pattern: equal, or a text in place of the letters."""
    if isinstance(other, str) and MASK & set(other):
        pattern = re.escape(masked(other)).replace(r"\*", ".*")
        return isinstance(one, str) and re.fullmatch(pattern, one, re.DOTALL) is not None
    if isinstance(one, dict) and isinstance(other, dict):
        return len(one) == len(other) and all(fits(a, b) and (a == HASH or fits(one[a], other[b]))
                                              for a, b in zip(one, other, strict=True))
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(fits, one, other))
    return bool(one == other) and type(one) is type(other)


def check(name: str, one: bytes, other: bytes) -> None:
    """Compare what came with the payload to what came with plain letters, in the way that suits its form."""
    if name.endswith(".xlsx"):
        assert [list(map(type, row)) for row in sheet_rows(one)] == [list(map(type, row)) for row in sheet_rows(other)]
        return
    text, pattern = one.decode("utf-8"), other.decode("utf-8")
    assert not UNSEEN.search(text), f"{name}: {UNSEEN.findall(text)}"
    if name.endswith(".html") or text.startswith("<!DOCTYPE html"):
        assert tags(text) == tags(pattern)
    elif name.endswith(".svg"):
        ElementTree.fromstring(text)
        assert text.count("<text") == pattern.count("<text") and "<script" not in text
    elif name.endswith(".toml") or pattern.startswith("title = "):
        assert fits(tomllib.loads(text), tomllib.loads(pattern))
    elif name.endswith(".csv") or (name == "stdout" and is_header(text) and is_header(pattern)):
        check_cells(text, pattern)
    elif text.startswith(("{", "[\n")) and pattern.startswith(("{", "[\n")):
        assert fits(json.loads(text), json.loads(pattern))
    else:
        lines, patterns = text.split("\n"), pattern.split("\n")
        assert len(lines) == len(patterns), f"{name}: {len(lines)} lines, not {len(patterns)}\n{text}"
        wrong = [(a, b) for a, b in zip(lines, patterns, strict=True) if not same(a, b)]
        assert not wrong, f"{name}: {wrong[:3]}"


def is_header(text: str) -> bool:
    """Whether a text begins as a CSV does, and not as a report or a line about what was done."""
    first = text.split("\n", 1)[0]
    return "," in first and ":" not in first[:5] and ": " not in first and not first.endswith(":")


def check_cells(text: str, pattern: str) -> None:
    rows, patterns = (list(csv.reader(io.StringIO(one, newline=""))) for one in (text, pattern))
    assert [len(row) for row in rows] == [len(row) for row in patterns]
    for row, expected in zip(rows, patterns, strict=True):
        for one, other in zip(row, expected, strict=True):
            assert fits(one, other), (one, other)
    for delimiter in ",;\t":
        for cell in (cell for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter) for cell in row):
            assert not LIVE.match(cell) or NUMBER.fullmatch(cell), f"live after {delimiter!r}: {cell!r}"


def sheet_rows(data: bytes) -> Iterator[list[Any]]:
    import openpyxl

    for sheet in openpyxl.load_workbook(io.BytesIO(data)):
        for row in sheet.iter_rows():
            assert all(cell.data_type != "f" for cell in row)
            yield [cell.value for cell in row]


def tags(page: str) -> list[tuple[str, tuple[str, ...]]]:
    """The elements of a page in their order, with the names of their attributes."""
    found: list[tuple[str, tuple[str, ...]]] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            found.append((tag, tuple(name for name, _ in attrs)))

    reader = Reader()
    reader.feed(page)
    reader.close()
    return found


def compared(field: str, command: str, payload: str, folder: Path) -> None:
    payload = allowed(field, payload)
    one = given(folder / "one", field, command, payload, payload)
    room = plain(str(harmless(payload)) if field == "package" else payload)  # the food is told as its table has it
    other = given(folder / "other", field, command, room, room)
    assert one["exit"] == other["exit"], (one["stderr"], other["stderr"])
    assert set(one) == set(other), (set(one), set(other))
    for name, data in one.items():
        check(name, data, other[name])


def compare_all(combinations: list[tuple[str, str, str]], tmp_path: Path) -> None:
    failures = []
    for number, (field, command, payload) in enumerate(combinations):
        try:
            compared(field, command, payload, tmp_path / str(number))
        except AssertionError as error:
            failures.append(f"{payload!r} in {field} of {command}: {str(error)[:300]}")
    print(f"{len(combinations)} combinations, {len(failures)} failures")
    assert not failures, "\n".join(failures[:40])


def test_there_are_enough_combinations() -> None:
    assert len(COMBINATIONS) >= 2000


@pytest.mark.parametrize("field", ["measure", "column", "role", "label", "scenario"])
def test_markup_is_text(field: str, tmp_path: Path) -> None:
    """A name in brackets styles nothing and stops nothing, wherever a report of text shows it."""
    compare_all([one for one in COMBINATIONS if one[0] == field and one[2] in ("salt [/y]", "[bold red]x[/]")
                 and one[1] in ("solve", "solve --measures", "foods show", "check", "scenario")], tmp_path)


@pytest.mark.parametrize("part", range(4))
def test_a_share_of_the_payloads(part: int, tmp_path: Path) -> None:
    compare_all(random.Random(f"share {part}").sample(COMBINATIONS, 30), tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("part", range(20))
def test_payloads_in_every_field_command_and_format(part: int, tmp_path: Path) -> None:
    chosen = random.Random("payloads").sample(COMBINATIONS, min(LONG, len(COMBINATIONS)))
    compare_all(chosen[part::20], tmp_path)
