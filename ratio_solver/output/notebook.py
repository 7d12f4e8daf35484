"""A report in a notebook: its lines as paragraphs, its tables as tables; whatever a name holds is text."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from ratio_solver.output.blocks import STRONG, Block, Cell, Grid, Section, Text


def html_of(report: Block) -> str:
    """The HTML of a report, escaped."""
    if isinstance(report, Section):
        return html_of((Text(report.heading, STRONG), *report.body))
    if isinstance(report, tuple):
        return "\n".join(filter(None, map(html_of, report)))
    if not isinstance(report, Grid):
        words = _html_words(report)
        return f"<p>{words}</p>" if words else ""
    sides = [side for _, side in report.columns]
    head = _html_row("th", sides, [heading for heading, _ in report.columns]) if report.header else ""
    rows = [_html_row("td", sides, row) for row in report.rows]
    return f"<table><thead>{head}</thead><tbody>{''.join(rows)}</tbody></table>"


def _html_row(tag: str, sides: Iterable[str], cells: Iterable[Cell]) -> str:
    pairs = zip(sides, cells, strict=False)  # a row may end early
    inside = "".join(f'<{tag} style="text-align: {side}">{_html_words(cell)}</{tag}>' for side, cell in pairs)
    return f"<tr>{inside}</tr>"


def _html_words(cell: Cell) -> str:
    """A line or a cell, what is strong in it strong."""
    runs = cell.runs if isinstance(cell, Text) else ((cell, ""),)
    return "".join(f"<b>{escape(words)}</b>" if words and STRONG in style else escape(words) for words, style in runs)
