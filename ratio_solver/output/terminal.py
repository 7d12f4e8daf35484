"""A report on a terminal, as text of 80 columns, and in the first few of its lines."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator, Sequence
from itertools import islice

from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.output.blocks import BAD, GOOD, QUIET, STRONG, WARNING, Block, Section, Text
from ratio_solver.output.layout import Runs, lines_of, plain
from ratio_solver.output.streams import WIDTH

MOST_WIDTH = 100
"""Columns of a terminal that a report takes at most."""

_COLOURS = {GOOD: "32", BAD: "31", WARNING: "33"}
_CODES = {STRONG: "1", QUIET: "2"} | _COLOURS
"""What ECMA-48 (SGR) has a terminal do for a style."""


def plain_text(report: Block) -> str:
    """A report as it stands in a file."""
    return plain(lines_of(report, WIDTH))


def on_terminal(report: Block) -> str:
    """A report for the terminal that is standard output: as wide as it is within limits, with its styles.

    A narrower table would be one figure a line. Where NO_COLOR is set (no-color.org) or the terminal has none, words
    are strong or quiet and not coloured.
    """
    width = max(WIDTH, min(shutil.get_terminal_size((WIDTH, 24)).columns, MOST_WIDTH))
    dumb = os.environ.get("TERM", "").lower() in ("dumb", "unknown")
    codes = {} if dumb else {style: code for style, code in _CODES.items()
                             if not (os.environ.get("NO_COLOR") and style in _COLOURS)}
    return "\n".join(_styled(line, codes) for line in lines_of(report, width))


def is_terminal() -> bool:
    """Whether standard output is a terminal."""
    return sys.stdout is not None and sys.stdout.isatty()


def _styled(line: Runs, codes: dict[str, str]) -> str:
    found = []
    for words, style in line:
        wanted = ";".join(codes[word] for word in style.split() if word in codes)
        found.append(f"\x1b[{wanted}m{words}\x1b[0m" if wanted and words.strip() else words)
    return "".join(found).rstrip()


def head_of(report: Block, most: int, cautions: Sequence[str]) -> str:
    """A report in so many lines: all of a short one, else without headings and what is quiet, cut, with a caution."""
    lines = list(filter(str.strip, plain_text(report).splitlines()))
    if len(lines) > most:
        loud = filter(str.strip, plain_text(tuple(_loud(report))).splitlines())
        caution = f"; {in_a_cell(cautions)}" if cautions else ""
        lines = [*islice(loud, most - 1), f"... .report() has the whole{caution}"]
    return "\n".join(lines)


def _loud(part: Block) -> Iterator[Block]:
    """The parts of a report in their order, each body without its heading."""
    if isinstance(part, tuple | Section):
        for each in part.body if isinstance(part, Section) else part:
            yield from _loud(each)
    elif not (isinstance(part, Text) and part.style == QUIET):
        yield part
