"""Reading values out of nested tables with every fault kept, each at its place, with its line and its ingredient."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from ratio_solver.errors import BadInput, Fault, cut, one_line, shown
from ratio_solver.foods.sizes import CELL, LARGEST, MOST_SERVINGS, TOO_SMALL, sensible
from ratio_solver.foods.table import suggestion

HEAVIEST = LARGEST
"""Largest weight taken, g: a tonne. Anything above is a slip of the keys."""

SPANS: Mapping[str, tuple[float, float, bool]] = MappingProxyType({
    "servings": (1, MOST_SERVINGS, False),
    "grams": (0.0, HEAVIEST, False), "min": (0.0, HEAVIEST, False), "max": (0.0, HEAVIEST, False),
    "step": (0.0, 10_000.0, True), "piece": (0.0, 10_000.0, True),
    "keep": (0.001, 1000.0, False), "yield": (0.0, 20.0, True),
})
"""Keys of an ingredient, and the servings: least, most, and whether the least itself is none."""

_OPAQUE = re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*', re.S)
"""Texts and comments of TOML, in which nothing is a key."""

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*$")
_KEY = re.compile(r"\s*([\w~-]+(?:\s*\.\s*[\w~-]+)*)\s*=")
_PART = re.compile(r"[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*'")
_NUMBERED = re.compile(r"\[[0-9]+\]$")
_INGREDIENT = re.compile(r"ingredients\[([0-9]+)\](?:\.(.*))?$")


class Reader:
    """Takes values out of a table and gathers what is wrong with them.

    Parameters
    ----------
    source : str
        File or option that the values come from.
    faults : list of Fault
        Shared by all the readers of one input.
    place : str
        Where in the source this table stands.
    table : mapping
        The values.
    """

    def __init__(self, source: str, faults: list[Fault], place: str, table: Mapping[str, object]) -> None:
        self.source, self.faults, self.place, self.table = source, faults, place, table

    def at(self, key: str) -> str:
        """Place of a key in this table."""
        return f"{self.place}.{key}" if self.place else key

    def fault(self, key: str, got: object, expected: str) -> None:
        """Keep one fault; `got` None says that something is missing."""
        self.faults.append(Fault(self.source, self.at(key) if key else self.place,
                                 "" if got is None else shown(got), expected))

    def known_keys(self, keys: Sequence[str]) -> None:
        """Every key of the table must be one of these."""
        for key in self.table:
            if key not in keys:
                hint = suggestion(key, keys) or f"; known here: {', '.join(keys)}"
                self.fault(key, None, f"is not a key of this table{hint}")

    def number(self, key: str, lowest: float = 0.0, highest: float = HEAVIEST, what: str = "a weight in g",
               above: bool = False) -> float | None:
        """A finite number in [lowest, highest] (in (lowest, highest] with `above`), or None."""
        return self.number_of(key, self.table.get(key), lowest, highest, what, above)

    def spanned(self, key: str, what: str) -> float | None:
        """A number within the span of its key, or None."""
        return self.number(key, *SPANS[key][:2], what, SPANS[key][2])

    def number_of(self, key: str, value: object, lowest: float, highest: float, what: str,
                  above: bool = False) -> float | None:
        """The same for a value already taken out."""
        if value is None:
            return None
        try:
            converted = math.nan if isinstance(value, bool) or not isinstance(value, int | float) else float(value)
        except OverflowError:
            converted = math.inf
        inside = lowest <= converted <= highest and sensible(converted)
        if inside and not (above and converted == lowest):
            return converted
        span = f"above {lowest:g} and at most {highest:,.0f}" if above else f"{lowest:g} to {highest:,.0f}"
        small = TOO_SMALL if math.isfinite(converted) and not sensible(converted) else ""
        self.fault(key, value, f"expected {what}, {span}{small}")
        return None

    def whole(self, key: str, lowest: int, highest: int, what: str) -> int | None:
        """A whole number in [lowest, highest], or None."""
        value = self.table.get(key)
        if value is None:
            return None
        if isinstance(value, int) and not isinstance(value, bool) and lowest <= value <= highest:
            return value
        self.fault(key, value, f"expected {what}, a whole number from {lowest} to {highest:,}")
        return None

    def text(self, key: str) -> str | None:
        """A text that is not empty, or None."""
        value = self.table.get(key)
        if value is None:
            return None
        if isinstance(value, str) and value.strip():
            return self._short_enough(key, value)
        self.fault(key, value, "expected a text")
        return None

    def _short_enough(self, key: str, text: str) -> str:
        if len(text) > CELL:
            self.fault(key, None, f"expected a text of at most {CELL:,} characters; there are {len(text):,}")
        return one_line(text)

    def one_of(self, key: str, names: Sequence[str]) -> str | None:
        """One of these words, or None."""
        name = self.text(key)
        if name is None or name in names:
            return name
        self.fault(key, name, f"expected one of {', '.join(names)}" + suggestion(name, names))
        return None

    def required(self, key: str, expected: str) -> None:
        """The table must have this key."""
        if key not in self.table:
            self.fault(key, None, expected)

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts, or ()."""
        value = self.table.get(key, ())
        if isinstance(value, list | tuple) and all(isinstance(item, str) and item.strip() for item in value):
            self._short_enough(key, max(value, key=len, default=""))
            return tuple(map(one_line, value))
        self.fault(key, value, "expected a list of texts")
        return ()

    def inner(self, key: str) -> Reader | None:
        """A table inside this one, or None."""
        value = self.table.get(key)
        if value is None:
            return None
        if isinstance(value, Mapping):
            return Reader(self.source, self.faults, self.at(key), value)
        self.fault(key, value, f"expected a table, [{self.at(key)}]")
        return None

    def each(self, key: str) -> Iterable[Reader]:
        """The tables of a list of tables, counted from 1."""
        value = self.table.get(key, ())
        if not isinstance(value, list | tuple):
            self.fault(key, value, f"expected tables, [[{key}]]")
            return
        for place, item in enumerate(value, 1):
            if isinstance(item, Mapping):
                yield Reader(self.source, self.faults, f"{self.at(key)}[{place}]", item)
            else:
                self.fault(f"{key}[{place}]", item, f"expected a table, [[{key}]]")

    def ends(self, highest: float, what: str, above: bool = False) -> tuple[float | None, float | None]:
        """The keys ``min`` and ``max`` of this table, in order; one of them at least."""
        low = self.number("min", 0.0, highest, what, above)
        high = self.number("max", 0.0, highest, what, above)
        if low is not None and high is not None and low > high:
            self.fault("min", low, f"expected at most the max, {high:g}")
        if not {"min", "max"} & self.table.keys():
            self.fault("", None, "expected min, max or both")
        return low, high


def lines_of(text: str) -> dict[str, int]:
    """Place of a key or table, as faults have it, to the number of its line.

    >>> lines_of('title = "soup"\\n[targets]\\nratio = 2\\n[[ingredients]]\\nfood = "leek"\\n')["ingredients[1].food"]
    5
    """
    found: dict[str, int] = {}
    counts: dict[str, int] = defaultdict(int)
    table, depth = "", 0
    seen = _OPAQUE.sub(_hidden, text).split("\n")
    for number, (line, bare) in enumerate(zip(text.split("\n"), seen, strict=True), 1):
        if depth == 0 and (header := _HEADER.match(bare)):
            table = _within_lists(_path(line[slice(*header.span(2))]), counts)
            if header[1] == "[[":
                counts[table] += 1
                table = f"{table}[{counts[table]}]"
            found.setdefault(table, number)
        elif depth == 0 and (key := _KEY.match(bare)):
            path, before = _path(line[slice(*key.span(1))]), f"{table}." if table else ""
            for part in (path.partition(".")[0], path):
                found.setdefault(f"{before}{part}", number)
        depth += sum((sign in "[{") - (sign in "]}") for sign in bare)
    return found


def _hidden(found: re.Match[str]) -> str:
    """Text and comments with nothing in them that could be a key or a bracket, in as many lines."""
    return re.sub(r"[^\n]", " " if found[0][0] == "#" else "~", found[0])


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
