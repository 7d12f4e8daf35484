"""A report on a terminal, as text of 80 columns, and in the first few of its lines."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Any

from rich import table as rich_table
from rich import text as rich_text
from rich.console import Console, Group, RenderableType
from rich.padding import Padding

from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.output.blocks import QUIET, STRONG, Block, Grid, Section, Text
from ratio_solver.output.streams import WIDTH

PLAIN: dict[str, Any] = {"highlight": False, "markup": False, "emoji": False}
"""How a report is printed: a name such as [bold] or :egg: is a name."""


def rendered(part: Block) -> RenderableType:
    """A report, or a part of one, as a terminal is given it."""
    if isinstance(part, str):
        return part
    if isinstance(part, Text):
        return rich_text.Text.assemble(*part.runs) if part.more else rich_text.Text(part.words, part.style)
    if isinstance(part, Section):
        return Group("", rich_text.Text(part.heading, STRONG),
                     *(Padding(rendered(item), (0, 0, 0, 2), expand=False) for item in part.body))
    if not isinstance(part, Grid):
        return Group(*map(rendered, part))
    table = rich_table.Table(box=None, padding=(0, 2, 0, 0), header_style=QUIET, show_header=part.header,
                             pad_edge=False)
    for place, (heading, side) in enumerate(part.columns):
        table.add_column(heading, justify="right" if side == "right" else "left", no_wrap=side == "right",
                         overflow="fold", min_width=1 if place else part.first_width)
    for row in part.rows:
        table.add_row(*map(rendered, row))
    return table


def plain_text(report: Block) -> str:
    """A report as it stands in a file."""
    plain = Console(width=WIDTH, no_color=True, force_terminal=False, file=io.StringIO(), **PLAIN)
    with plain.capture() as capture:
        plain.print(rendered(report))
    return "\n".join(line.rstrip() for line in capture.get().splitlines())


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
