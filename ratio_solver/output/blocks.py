"""Reports for a terminal of 80 columns: data in, a renderable out; nothing is printed here."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import islice
from typing import TYPE_CHECKING, Any

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ratio_solver.dish.cautions import SHORT, on_screen
from ratio_solver.dish.notices import ALLERGENS_ARE, allergen_words
from ratio_solver.output.numbers import decimal, in_unit, short, with_unit
from ratio_solver.output.streams import WIDTH

if TYPE_CHECKING:
    from ratio_solver.dish.check import DishAtWeights
    from ratio_solver.dish.constraints import Limit
    from ratio_solver.dish.nutrition import Facts
    from ratio_solver.recipe.model import Recipe

PLAIN: dict[str, Any] = {"highlight": False, "markup": False, "emoji": False}
"""How a report is printed: a name such as [bold] or :egg: is a name."""

STRONG, QUIET, GOOD, BAD = "bold", "dim", "green", "red"


def plain_text(report: RenderableType) -> str:
    """A report as it stands in a file."""
    plain = Console(width=WIDTH, no_color=True, force_terminal=False, file=io.StringIO(), **PLAIN)
    with plain.capture() as capture:
        plain.print(report)
    return "\n".join(line.rstrip() for line in capture.get().splitlines())


def head_of(report: RenderableType, most: int) -> str:
    """A report in so many lines: all of a short one, else without headings and what is quiet, and cut.

    The last line then has the caution, the stronger one where the report has more than the usual.
    """
    lines = list(filter(str.strip, plain_text(report).splitlines()))
    if len(lines) > most:
        loud = filter(str.strip, plain_text(Group(*_loud(report))).splitlines())
        cautions = ["", *SHORT][min(sum(line.startswith("Caution: ") for line in lines), len(SHORT))]
        lines = [*islice(loud, most - 1), "; ".join(filter(None, ["... .report() has the whole", cautions]))]
    return "\n".join(lines)


def _loud(part: RenderableType) -> Iterator[RenderableType]:
    """The parts of a report in their order, each body without its heading."""
    if isinstance(part, Padding):
        yield from _loud(part.renderable)
    elif isinstance(part, Group):
        heading = len(part.renderables) > 1 and isinstance(part.renderables[-1], Padding)
        for each in part.renderables[2 if heading else 0:]:
            yield from _loud(each)
    elif not (isinstance(part, Text) and part.style == QUIET):
        yield part


def table_of(columns: Sequence[tuple[str, str]], rows: Iterable[Iterable[RenderableType]], *,
             header: bool = True) -> Table:
    """A table without lines: (heading, "left" or "right") for each column, and its rows."""
    table = Table(box=None, padding=(0, 2, 0, 0), header_style=QUIET, show_header=header, pad_edge=False)
    for heading, justify in columns:
        table.add_column(heading, justify="right" if justify == "right" else "left",
                         no_wrap=justify == "right", overflow="fold", min_width=1)
    for row in rows:
        table.add_row(*row)
    return table


def more_lines(left: int) -> list[RenderableType]:
    """That a list goes on, where it does."""
    return [Text(f"and {left} more (--most)", QUIET)] if left > 0 else []


def headline(title: str, state: str, style: str) -> RenderableType:
    """The dish, and what came out of it."""
    return Text.assemble((title, STRONG), "  ", (state, f"{STRONG} {style}"))


def section(heading: str, *body: RenderableType) -> Group:
    """A heading with an indented body."""
    return Group(Text(""), Text(heading, STRONG), *(Padding(item, (0, 0, 0, 2), expand=False) for item in body))


MUCH = Fraction(1, 10)
"""A serving whose weight changes by more than this share of it is told beside what it was; our choice."""


def batch_line(recipe: Recipe, facts: Facts, start: Fraction | None = None) -> str:
    """Servings and their weight; beside that of the start, g, where one is given and the weight has changed by much."""
    pieces = f", {recipe.pieces} {'piece' if recipe.pieces == 1 else 'pieces'} each" if recipe.pieces else ""
    word = "serving" if recipe.servings == 1 else "servings"
    cooked = "" if facts.cooked is None else f" ({weight_text(facts.cooked)} g cooked)"
    changed = start is not None and abs(facts.weight - start) > MUCH * start > 0
    was = f"{weight_text(start)} g -> " if changed and start is not None else ""
    return f"{recipe.servings} {word} of {was}{weight_text(facts.weight)} g{cooked}{pieces}"


def weight_text(value: Fraction) -> str:
    """Grams of a serving: whole where it is, else to a tenth."""
    return short(value, 1)


def limit_words(limit: Limit) -> str:
    """A limit's bound in words: "at least 2.00:1"."""
    return f"{'at least' if limit.sense == '>=' else 'at most'} {bound_words(limit)}"


def bound_words(limit: Limit) -> str:
    """The bound alone: "2.00:1", "6.5 g", "12.5 %"."""
    bound, unit = limit.bound, limit.unit
    text = decimal(bound, 4 if bound * 100 % 1 else 2) if unit == ":1" else \
        short(in_unit(bound, unit), 2 if unit == "share" else 6)
    return with_unit(text, unit)


def allergens_of(dish: DishAtWeights) -> str:
    """The allergens of a dish with weights, in words."""
    return allergen_words(dish.allergens, dish.allergens_unknown)


def notes(recipe: Recipe, allergens: str | None, warnings: Sequence[str], cautions: Sequence[str],
          of: str = "") -> Group:
    """Policy, allergens, warnings and cautions, at the foot of every report that states a ratio.

    `allergens` are those of the dish in words, None where there are no weights; `of` says which dish. A warning that
    says no more than they do is left out.
    """
    return Group(
        Text(""),
        Text(f"Reckoned: {recipe.policy.described()}.", QUIET),
        *([] if allergens is None else [Text.assemble(f"Allergens{of}: ", (allergens, STRONG))]),
        *(Text(f"Note: {warning}.", "yellow") for warning in warnings
          if not (allergens or "").endswith(warning.removeprefix(ALLERGENS_ARE))),
        *caution_lines(cautions))


def caution_lines(cautions: Sequence[str]) -> list[Text]:
    """The cautions as a screen has them: short, with where the whole can be read."""
    return [Text(line, QUIET if k == 0 else STRONG) for k, line in enumerate(on_screen(cautions))]
