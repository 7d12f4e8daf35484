"""A report laid out in lines of so many columns: wrapped between words, tables as narrow as they need to be.

A figure is never cut and never broken: columns of figures keep their width, and a table that has no room beside them
is wider than it should be.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence

from ratio_solver.output.blocks import QUIET, STRONG, Block, Cell, Grid, Section, Text

Runs = tuple[tuple[str, str], ...]
"""Words, each with its style, that follow one another on a line."""

INDENT, GAP = "  ", "  "
"""Before the body of a section, and between the columns of a table."""

NARROWEST = 10
"""Columns below which one of words is not narrowed, with the gap that follows it."""

_WORD = re.compile(r"\s*\S+\s*")


def lines_of(part: Block, width: int) -> Iterator[Runs]:
    """The lines of a report, or of a part of one."""
    if isinstance(part, Section):
        yield ()
        yield from _wrapped(((part.heading, STRONG),), width)
        for item in part.body:
            yield from (((INDENT, ""), *line) for line in lines_of(item, width - len(INDENT)))
    elif isinstance(part, Grid):
        yield from _table(part, width)
    elif isinstance(part, tuple):
        for each in part:
            yield from lines_of(each, width)
    else:
        yield from _wrapped(_runs(part), width)


def columns_of(text: str) -> int:
    """Columns that a text takes on a terminal: none for what stands on the letter before, two for wide signs.

    >>> columns_of("crème"), columns_of("cre\\u0300me"), columns_of("米 rice")
    (5, 5, 7)
    """
    return len(text) if text.isascii() else sum(map(_columns, text))


def _columns(sign: str) -> int:
    if unicodedata.category(sign) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(sign) in "WF" else 1


def _runs(cell: Cell) -> Runs:
    return cell.runs if isinstance(cell, Text) else ((cell, ""),)


def _said(runs: Runs) -> str:
    return "".join(words for words, _ in runs)


def _wrapped(runs: Runs, width: int) -> Iterator[Runs]:
    """Runs in lines that are not wider: broken where the text is, then between words, within a word that is wider."""
    text, begin = _said(runs), 0
    for line in text.split("\n"):
        for start, end in _broken(line, width):
            yield tuple(_between(runs, begin + start, begin + end))
        begin += len(line) + 1


def _broken(text: str, width: int) -> Iterator[tuple[int, int]]:
    """Where each line of a text begins and ends; outer blanks at its end are left out."""
    begin = used = 0
    if columns_of(text) > width:
        for match in _WORD.finditer(text):
            word, start = match[0].rstrip(), match.start()
            size = columns_of(word)
            if used + size <= width:
                used += columns_of(match[0])
                continue
            if used:
                yield begin, begin + len(text[begin:start].rstrip())
                begin = start
            if size <= width:
                used = columns_of(match[0])
                continue
            used = 0
            for place, sign in enumerate(match[0], start):
                if used + _columns(sign) > width:
                    yield begin, place
                    begin, used = place, 0
                used += _columns(sign)
    yield begin, begin + len(text[begin:].rstrip())


def _between(runs: Runs, start: int, end: int) -> Iterator[tuple[str, str]]:
    """What stands from one place of the text to another, each piece with its style."""
    at = 0
    for words, style in runs:
        if piece := words[max(start - at, 0):max(end - at, 0)]:
            yield piece, style
        at += len(words)


def _table(grid: Grid, width: int) -> Iterator[Runs]:
    """The lines of a table: of each row as many as its highest cell has; headings stand on the line of the figures."""
    head: list[list[Runs]] = [[((heading, QUIET),) for heading, _ in grid.columns]] if grid.header else []
    body: list[list[Runs]] = [[_runs(cell) for cell in row] for row in grid.rows]
    right = [side == "right" for _, side in grid.columns]
    widths = [1] * len(right)
    widths[0] = grid.first_width
    for row in (*head, *body):
        for place, cell in enumerate(row):
            widths[place] = max(widths[place], *map(columns_of, _said(cell).split("\n")))
    widths = _narrowed(widths, right, width)
    for row in head:
        yield from _row(row, widths, right, top=False)
    for row in body:
        yield from _row(row, widths, right)


def _narrowed(widths: Sequence[int], kept: Sequence[bool], width: int) -> list[int]:
    """Widths of columns that have room together: the widest of those that are not kept gives first.

    Each counts with the gap that follows it.
    """
    gaps = [len(GAP)] * (len(widths) - 1) + [0]
    found = [one + gap if keep else min(one + gap, width) for one, gap, keep in zip(widths, gaps, kept, strict=True)]
    while (over := sum(found) - width) > 0:
        wide = max((one for one, keep in zip(found, kept, strict=True) if not keep), default=0)
        if wide <= NARROWEST:
            break
        most = [place for place, one in enumerate(found) if one == wide and not kept[place]]
        next_ = max([NARROWEST, *(one for one, keep in zip(found, kept, strict=True) if not keep and one < wide)])
        for turn, place in enumerate(most):
            less = min(wide - next_, round(over / (len(most) - turn)))
            found[place] -= less
            over -= less
    return [one - gap for one, gap in zip(found, gaps, strict=True)]


def _row(row: Sequence[Runs], widths: Sequence[int], right: Sequence[bool], top: bool = True) -> Iterator[Runs]:
    """The lines of a row; cells that are lower than others stand at its top, or at its bottom."""
    cells = [list(_wrapped(runs, width)) for runs, width in zip(row, widths, strict=False)]  # a row may end early
    height = max(map(len, cells), default=1)
    for place in range(height):
        line: list[tuple[str, str]] = []
        for column, lines in enumerate(cells):
            turn = place if top else place - (height - len(lines))
            runs = lines[turn] if 0 <= turn < len(lines) else ()
            blank = " " * max(0, widths[column] - columns_of(_said(runs)))
            line += [(blank, ""), *runs] if right[column] else [*runs, (blank, "")]
            line.append((GAP, ""))
        yield tuple(line)


def plain(lines: Iterable[Runs]) -> str:
    """Lines as they stand in a file."""
    return "\n".join(_said(line).rstrip() for line in lines)
