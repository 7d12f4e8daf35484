"""What a report is made of: lines, tables and sections, in words; how they look is `terminal`'s and `notebook`'s."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.dish.cautions import on_screen
from ratio_solver.dish.check import DishAtWeights
from ratio_solver.dish.constraints import Limit
from ratio_solver.dish.notices import ALLERGENS_ARE, allergen_words
from ratio_solver.dish.nutrition import Facts
from ratio_solver.foods.quantities import SHARE
from ratio_solver.output.numbers import counted, decimal, in_unit, short, with_unit
from ratio_solver.recipe.model import Recipe

STRONG, QUIET, GOOD, BAD = "bold", "dim", "green", "red"


@dataclass(frozen=True)
class Text:
    """A line or a cell: words in a style, and what follows them in others."""

    words: str = ""
    style: str = ""
    more: tuple[tuple[str, str], ...] = ()

    @classmethod
    def assemble(cls, *runs: str | tuple[str, str]) -> Text:
        """Of runs of words, each plain or with its style."""
        return cls(more=tuple((run, "") if isinstance(run, str) else run for run in runs))

    def plus(self, words: str, style: str = "") -> Text:
        """The same with more words."""
        return replace(self, more=(*self.more, (words, style)))

    @property
    def runs(self) -> tuple[tuple[str, str], ...]:
        """All its words, each with its style."""
        return (self.words, self.style), *self.more


Cell = str | Text


@dataclass(frozen=True)
class Grid:
    """A table without lines: (heading, "left" or "right") for each column, and rows that may end early."""

    columns: Sequence[tuple[str, str]]
    rows: Sequence[Sequence[Cell]]
    header: bool = True
    first_width: int = 1


@dataclass(frozen=True)
class Section:
    """A heading with an indented body."""

    heading: str
    body: tuple[Block, ...]


Block = Cell | Grid | Section | tuple["Block", ...]
"""A report, or what it is made of."""


def table_of(columns: Sequence[tuple[str, str]], rows: Iterable[Iterable[Cell]], *, header: bool = True,
             first_width: int = 1) -> Grid:
    """A table of rows that may be made one by one."""
    return Grid(columns, [tuple(row) for row in rows], header, first_width)


def more_lines(left: int) -> list[Block]:
    """That a list goes on, where it does."""
    return [Text(f"and {left} more (--most)", QUIET)] if left > 0 else []


def headline(title: str, state: str, style: str) -> Block:
    """The dish, and what came out of it."""
    return Text.assemble((title, STRONG), "  ", (state, f"{STRONG} {style}"))


def section(heading: str, *body: Block) -> Section:
    """A heading with an indented body."""
    return Section(heading, body)


MUCH = Fraction(1, 10)
"""A serving whose weight changes by more than this share of it is told beside what it was; our choice."""


def batch_line(recipe: Recipe, facts: Facts, start: Fraction | None = None) -> str:
    """Servings and their weight; beside that of the start, g, where one is given and the weight has changed by much."""
    pieces = f", {counted(recipe.pieces, 'piece')} each" if recipe.pieces else ""
    cooked = "" if facts.cooked is None else f" ({weight_text(facts.cooked)} g cooked)"
    changed = start is not None and abs(facts.weight - start) > MUCH * start > 0
    was = f"{weight_text(start)} g -> " if changed and start is not None else ""
    return f"{counted(recipe.servings, 'serving')} of {was}{weight_text(facts.weight)} g{cooked}{pieces}"


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
        short(in_unit(bound, unit), 2 if unit == SHARE else 6)
    return with_unit(text, unit)


def allergens_of(dish: DishAtWeights) -> str:
    """The allergens of a dish with weights, in words."""
    return allergen_words(dish.allergens, dish.allergens_unknown)


def notes(recipe: Recipe, allergens: str | None, warnings: Sequence[str], cautions: Sequence[str],
          of: str = "") -> Block:
    """Policy, allergens, warnings and cautions, at the foot of every report that states a ratio.

    `allergens` are those of the dish in words, None where there are no weights; `of` says which dish. A warning that
    says no more than they do is left out.
    """
    return (
        Text(""),
        Text(f"Reckoned: {recipe.reckoned}.", QUIET),
        *([] if allergens is None else [Text.assemble(f"Allergens{of}: ", (allergens, STRONG))]),
        *(Text(f"Note: {warning}.", "yellow") for warning in warnings
          if not (allergens or "").endswith(warning.removeprefix(ALLERGENS_ARE))),
        *caution_lines(cautions))


def caution_lines(cautions: Sequence[str]) -> list[Text]:
    """The cautions as a screen has them: short, with where the whole can be read."""
    return [Text(line, QUIET if k == 0 else STRONG) for k, line in enumerate(on_screen(cautions))]
