"""The lines of a recipe file: where each key stands, so that a fault names its line and its ingredient."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from ratio_solver.errors import BadInput, Fault, cut, one_line, shown

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"\s*((?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*'))*)\s*=")
_PART = re.compile(r"[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*'")
_LONG = re.compile(r'"""|\'\'\'')
_SHORT = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'')
_NUMBERED = re.compile(r"\[[0-9]+\]$")
_INGREDIENT = re.compile(r"ingredients\[([0-9]+)\](?:\.(.*))?$")


def lines_of(text: str) -> dict[str, int]:
    """Place of a key or table, as faults have it, to the number of its line.

    >>> lines_of('title = "soup"\\n[targets]\\nratio = 2\\n[[ingredients]]\\nfood = "leek"\\n')["ingredients[1].food"]
    5
    """
    found: dict[str, int] = {}
    counts: dict[str, int] = defaultdict(int)
    table, quote, depth = "", "", 0
    for number, line in enumerate(text.split("\n"), 1):
        if quote or depth > 0:
            quote, depth = _after(line, quote, depth)
            continue
        if header := _HEADER.match(line):
            name = _within_lists(_path(header[2]), counts)
            if header[1] == "[[":
                counts[name] += 1
                name = f"{name}[{counts[name]}]"
            table = name
            found.setdefault(table, number)
        elif key := _KEY.match(line):
            path, before = _path(key[1]), f"{table}." if table else ""
            for part in (path.partition(".")[0], path):
                found.setdefault(f"{before}{part}", number)
            quote, depth = _after(line[key.end():], "", 0)
    return found


def _within_lists(path: str, counts: Mapping[str, int]) -> str:
    """The path of a table with the number of each list that it stands in: "days.meals" of the second day."""
    at = ""
    *lists, last = path.split(".")
    for part in lists:
        at += part
        at += f"[{counts[at]}]." if counts.get(at) else "."
    return at + last


def _path(text: str) -> str:
    return ".".join(part.strip("\"'") for part in _PART.findall(text))


def _after(line: str, quote: str, depth: int) -> tuple[str, int]:
    """The long quote and the depth of brackets that are still open after a line."""
    place = 0
    while place < len(line):
        here = line[place:]
        if quote:
            end = here.find(quote)
            if end < 0:
                return quote, depth
            place, quote = place + end + 3, ""
        elif _LONG.match(here):
            quote, place = here[:3], place + 3
        elif here[0] in "\"'":
            short = _SHORT.match(here)
            place += short.end() if short else len(here)
        elif here[0] == "#":
            break
        else:
            depth += (here[0] in "[{") - (here[0] in "]}")
            place += 1
    return quote, depth


@contextmanager
def lines_told(path: str | Path, text: str, table: Mapping[str, object]) -> Iterator[None]:
    """Faults of a recipe file that come out of here name their line and their ingredient."""
    try:
        yield
    except BadInput as bad:
        lines = lines_of(text)
        raise BadInput(_located(fault, str(path), lines, table) for fault in bad.faults) from bad


def _located(fault: Fault, path: str, lines: Mapping[str, int], table: Mapping[str, object]) -> Fault:
    if fault.source != path:
        return fault
    place = fault.place
    while place and place not in lines:
        place = _NUMBERED.sub("", place) if _NUMBERED.search(place) else place.rpartition(".")[0]
    line = lines[place] if place else 0
    match = _INGREDIENT.match(fault.place)
    name = _name(table, int(match[1])) if match else ""
    if not match or not name:
        return replace(fault, line=line)
    where = f"ingredient {name} ({_ordinal(int(match[1]))})"
    return replace(fault, line=line, spoken=f"{where}, {match[2]}" if match[2] else where)


def _name(table: Mapping[str, object], number: int) -> str:
    """What an ingredient is called in the file, quoted; nothing where it has no name."""
    written = table.get("ingredients")
    one = written[number - 1] if isinstance(written, list) and number <= len(written) else None
    names = [one[key] for key in ("label", "food") if isinstance(one.get(key), str)] if isinstance(one, Mapping) else []
    return shown(cut(one_line(names[0]), 40)) if names and names[0].strip() else ""


def _ordinal(number: int) -> str:
    """A place in a list as it is said.

    >>> _ordinal(1), _ordinal(12), _ordinal(23)
    ('1st', '12th', '23rd')
    """
    ending = "th" if 10 <= number % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"
