"""Reports laid out in lines, against the layout of a library for terminals, and where that would cut a figure."""

from __future__ import annotations

import io
import os
import re

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from rich import table as rich_table
from rich import text as rich_text
from rich.console import Console, Group, RenderableType
from rich.padding import Padding

from ratio_solver.output.blocks import BAD, QUIET, STRONG, Block, Grid, Section, Text
from ratio_solver.output.layout import columns_of
from ratio_solver.output.terminal import on_terminal, plain_text

WORDS = ("a", "fat", "cream", "celeriac,", "1,205.00", "≥", "Gruyère", "crème", "proportion", "·", "(dry)",
         "at least 2.00:1", "米", "tarte\u0300", "x" * 30)


def by_library(part: Block) -> RenderableType:
    if isinstance(part, str):
        return rich_text.Text(part)
    if isinstance(part, Text):
        return rich_text.Text.assemble(*part.runs)
    if isinstance(part, Section):
        return Group("", rich_text.Text(part.heading),
                     *(Padding(by_library(item), (0, 0, 0, 2), expand=False) for item in part.body))
    if not isinstance(part, Grid):
        return Group(*map(by_library, part))
    table = rich_table.Table(box=None, padding=(0, 2, 0, 0), show_header=part.header, pad_edge=False)
    for place, (heading, side) in enumerate(part.columns):
        table.add_column(heading, justify="right" if side == "right" else "left", no_wrap=side == "right",
                         overflow="fold", min_width=1 if place else part.first_width)
    for row in part.rows:
        table.add_row(*map(by_library, row))
    return table


def lines_by_library(report: Block) -> list[str]:
    console = Console(width=80, no_color=True, force_terminal=False, file=io.StringIO(), highlight=False, markup=False,
                      emoji=False)
    with console.capture() as capture:
        console.print(by_library(report))
    return [line.rstrip() for line in capture.get().splitlines()]


def sentences(most: int) -> st.SearchStrategy[str]:
    return st.lists(st.sampled_from(WORDS), min_size=1, max_size=most).map(" ".join)


@st.composite
def grids(draw: st.DrawFn) -> Grid:
    """A table whose figures have room: of words that wrap, and of short ones at the right."""
    sides = draw(st.lists(st.sampled_from(("left", "right")), min_size=1, max_size=5))
    short = st.sampled_from(("", "1", "12.50", "·", "-618", "0 to 700"))

    def cell(side: str) -> st.SearchStrategy[str | Text]:
        if side == "right":
            return short
        return sentences(8) | sentences(3).map(lambda words: Text(words).plus(" more", BAD))

    columns = [(draw(st.sampled_from(("", "g", "now g", "saves\ng"))), side) for side in sides]
    rows = draw(st.lists(st.tuples(*map(cell, sides)), max_size=4))
    return Grid(columns, rows, draw(st.booleans()), draw(st.sampled_from((1, 12))))


BODIES = st.recursive(sentences(40) | sentences(40).map(Text) | grids(),
                      lambda inner: st.builds(Section, sentences(3), st.lists(inner, max_size=3).map(tuple)),
                      max_leaves=6)


@settings(max_examples=250, deadline=None)
@given(st.lists(BODIES, max_size=4).map(tuple))
@example(("x" * 200,))
@example((Grid([("a", "left"), ("b", "left")], [["fat " * 30, "cream " * 12], ["x" * 90]]),))
@example((Grid([("", "right"), ("saves\ng", "right")], [["1", ""], []]),))
def test_as_the_library_lays_it_out(report: Block) -> None:
    expected = lines_by_library(report)
    found = plain_text(report).split("\n") if expected else []
    assert found == expected


def test_a_figure_is_never_cut() -> None:
    """Where the figures alone are wider than the line, it is longer; the library would cut them."""
    figures = [f"{10 ** 12 + k:,}" for k in range(6)]
    grid = Grid([("a food of a long name", "left"), *[("g", "right")] * 6], [["celeriac, of the region", *figures]])
    text = plain_text(grid)
    assert all(figure in text for figure in figures)
    assert not all(figure in "\n".join(lines_by_library(grid)) for figure in figures)


def test_styles_are_those_of_the_standard(monkeypatch: pytest.MonkeyPatch) -> None:
    """ECMA-48, 8.3.117: 1 bold, 2 faint, 31 red; without colours where these are not wanted."""
    report = (Text("a dish", STRONG).plus("  impossible", f"{STRONG} {BAD}"), Section("Weights", (Text("g", QUIET),)))
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert on_terminal(report).split("\n") == [
        "\x1b[1ma dish\x1b[0m\x1b[1;31m  impossible\x1b[0m", "", "\x1b[1mWeights\x1b[0m", "  \x1b[2mg\x1b[0m"]
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b[1m  impossible\x1b[0m" in on_terminal(report)
    monkeypatch.setenv("TERM", "dumb")
    assert on_terminal(report) == plain_text(report)


@pytest.mark.parametrize(("columns", "most"), [("40", 80), ("90", 90), ("300", 100)])
def test_a_terminal_is_filled_within_limits(columns: str, most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    lines = re.sub(r"\x1b\[[0-9;]*m", "", on_terminal("fat " * 200)).splitlines()
    assert most - 4 < max(map(len, lines)) <= most, os.environ["COLUMNS"]


@pytest.mark.parametrize(("text", "columns"), [("cream", 5), ("crème", 5), ("cre\u0300me", 5), ("米", 2),
                                               ("a\u200db", 2), ("＋", 2)])
def test_columns_of_signs(text: str, columns: int) -> None:
    """East Asian Width (Unicode Standard Annex 11) and marks that stand on the sign before."""
    assert columns_of(text) == columns
