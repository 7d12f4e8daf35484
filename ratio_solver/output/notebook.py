"""A report in a notebook: its lines as paragraphs, its tables as tables; whatever a name holds is text."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from itertools import pairwise

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ratio_solver.output.blocks import STRONG


def html_of(report: RenderableType) -> str:
    """The HTML of a report, escaped."""
    if isinstance(report, Group):
        return "\n".join(filter(None, map(html_of, report.renderables)))
    if isinstance(report, Padding):
        return html_of(report.renderable)
    if not isinstance(report, Table):
        words = _words(report)
        return f"<p>{words}</p>" if words else ""
    sides = [column.justify for column in report.columns]
    rows = [_html_row("td", sides, cells) for cells in zip(*(column.cells for column in report.columns), strict=True)]
    head = _html_row("th", sides, [column.header for column in report.columns]) if report.show_header else ""
    return f"<table><thead>{head}</thead><tbody>{''.join(rows)}</tbody></table>"


def _html_row(tag: str, sides: Iterable[str], cells: Iterable[RenderableType]) -> str:
    pairs = zip(sides, cells, strict=True)
    inside = "".join(f'<{tag} style="text-align: {side}">{_words(cell)}</{tag}>' for side, cell in pairs)
    return f"<tr>{inside}</tr>"


def _words(words: RenderableType) -> str:
    """A line or a cell, what is strong in it strong."""
    line = words if isinstance(words, Text) else Text(str(words))
    spans = [*line.spans, (0, len(line), str(line.style))]
    ends = sorted({0, len(line), *(end for start, stop, _ in spans for end in (start, stop))})
    pieces = []
    for start, stop in pairwise(ends):
        piece = escape(line.plain[start:stop])
        strong = any(begin <= start < end and STRONG in str(style) for begin, end, style in spans)
        pieces.append(f"<b>{piece}</b>" if strong else piece)
    return "".join(pieces)
