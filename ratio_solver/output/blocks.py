"""Reports for a terminal of 80 columns: data in, a renderable out; nothing is printed here."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from fractions import Fraction
from html import escape
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ratio_solver.dish.cautions import cautions, on_screen
from ratio_solver.dish.notices import ALLERGENS_ARE, allergen_words, allergens_unknown
from ratio_solver.output.could_be import could_be, loosening
from ratio_solver.output.numbers import amount, decimal, honest, ratio, short, visible, weight

if TYPE_CHECKING:
    from ratio_solver.dish.check import Check
    from ratio_solver.dish.constraints import Limit
    from ratio_solver.dish.nutrition import Facts
    from ratio_solver.dish.status import LimitState, Weight
    from ratio_solver.recipe.model import Recipe
    from ratio_solver.solving.result import Proposal

WIDTH = 80
PLAIN: dict[str, Any] = {"highlight": False, "markup": False, "emoji": False}
"""How a report is printed: a name such as [bold] or :egg: is a name."""

STRONG, QUIET, GOOD, BAD = "bold", "dim", "green", "red"


def plain_text(report: RenderableType) -> str:
    """A report as it stands in a file."""
    plain = Console(width=WIDTH, no_color=True, force_terminal=False, file=io.StringIO(), **PLAIN)
    with plain.capture() as capture:
        plain.print(report)
    return "\n".join(line.rstrip() for line in capture.get().splitlines())


def html_of(report: RenderableType) -> str:
    """A report for a notebook: its lines as paragraphs, its tables as tables; whatever a name holds is text."""
    if isinstance(report, Group):
        return "\n".join(filter(None, map(html_of, report.renderables)))
    if isinstance(report, Padding):
        return html_of(report.renderable)
    if isinstance(report, Table):
        sides = [f' style="text-align: {column.justify}"' for column in report.columns]
        head = "".join(f"<th{side}>{_html(column.header)}</th>"
                       for side, column in zip(sides, report.columns, strict=True))
        body = ["".join(f"<td{side}>{_html(cell)}</td>" for side, cell in zip(sides, row, strict=True))
                for row in zip(*(column.cells for column in report.columns), strict=True)]
        head = f"<thead><tr>{head}</tr></thead>" if report.show_header else ""
        return f"<table>{head}<tbody>{''.join(f'<tr>{cells}</tr>' for cells in body)}</tbody></table>"
    words = _html(report)
    return f"<p>{words}</p>" if words else ""


def _html(words: RenderableType) -> str:
    """A line or a cell, what is strong in it strong."""
    if not isinstance(words, Text):
        return escape(str(words))
    plain, parts = words.plain, []
    ends = sorted({0, len(plain), *(end for span in words.spans for end in span[:2])})
    for start, end in pairwise(ends):
        strong = STRONG in str(words.style) or any(s.start <= start < s.end and STRONG in str(s.style)
                                                   for s in words.spans)
        piece = escape(plain[start:end])
        parts.append(f"<b>{piece}</b>" if strong else piece)
    return "".join(parts)


def grid(*columns: tuple[str, str], header: bool = True) -> Table:
    """A table without lines: (heading, "left" or "right") for each column."""
    table = Table(box=None, padding=(0, 2, 0, 0), header_style=QUIET, show_header=header, pad_edge=False)
    for heading, justify in columns:
        table.add_column(heading, justify="right" if justify == "right" else "left",
                         no_wrap=justify == "right", overflow="fold", min_width=1)
    return table


def table_of(columns: Sequence[tuple[str, str]], rows: Iterable[Iterable[RenderableType]], *,
             header: bool = True) -> Table:
    """The same with its rows."""
    table = grid(*columns, header=header)
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


def batch_line(recipe: Recipe, facts: Facts) -> str:
    """Servings and their weight."""
    pieces = f", {recipe.pieces} {'piece' if recipe.pieces == 1 else 'pieces'} each" if recipe.pieces else ""
    word = "serving" if recipe.servings == 1 else "servings"
    cooked = "" if facts.cooked is None else f" ({weight_text(facts.cooked)} g cooked)"
    return f"{recipe.servings} {word} of {weight_text(facts.weight)} g{cooked}{pieces}"


def weight_text(value: Fraction) -> str:
    """Grams of a serving: whole where it is, else to a tenth."""
    return short(value, 1)


def weights_table(weights: Sequence[Weight]) -> Table:
    """was / now / change / allowed / could be (where there is room for it), what sits at a limit called out."""
    ranged, remarks = could_be_fits(weights), any(_cells(item)[-1] for item in weights)
    table = grid(("ingredient", "left"), ("was g", "right"), ("now g", "right"), ("change", "right"),
                 ("allowed g", "right"), *((("could be", "right"),) if ranged else ()),
                 *((("", "left"),) if remarks else ()))
    for item in weights:
        was, now, change, allowed, possible, called = _cells(item)
        table.add_row(
            Text(item.ingredient), was, Text(now, STRONG if item.at != "fixed" else ""),
            Text(change, "" if item.change else QUIET), allowed,
            *((Text(possible, QUIET),) if ranged else ()),
            *((Text(called, _style(item)),) if remarks else ()),
        )
    return table


def _cells(item: Weight) -> tuple[str, ...]:
    change = f"{'+' if item.change > 0 else ''}{weight(item.change)}" if item.change else "·"
    return (weight(item.start), weight_now(item), change, allowed(item), could_be(item),
            ", ".join(filter(None, (pieces_of(item), _called_out(item)))).replace(", at its ", ", "))


def could_be_fits(weights: Sequence[Weight]) -> bool:
    """Whether the table has a column of what the weights could be, and room for it in 80 columns."""
    heads = ("was g", "now g", "change", "allowed g", "could be", "")
    rows = [(item.ingredient, *_cells(item)) for item in weights]
    widths = [max(map(len, column)) for column in zip(("ingredient", *heads), *rows, strict=True)]
    return any(row[-2] for row in rows) and 2 + sum(widths) + 2 * (len(widths) - 1) <= WIDTH


def weight_now(item: Weight) -> str:
    """The weight to put on the scale; one on its step is shown with all its decimals."""
    return weight(item.grams) if item.step is None else short(item.grams, 9)


def pieces_of(item: Weight) -> str:
    """"3 pieces" where the weight is in whole pieces."""
    if item.step is None or not item.piece:
        return ""
    count = item.grams / item.step
    return f"{short(count, 0)} piece{'' if count == 1 else 's'}"


def _called_out(item: Weight) -> str:
    if item.at in (None, "fixed"):
        return ""
    return "left out" if left_out(item) else f"at its {item.at}"


def left_out(item: Weight) -> bool:
    """Whether an ingredient that may be used is not, whatever its maximum."""
    return not item.maximum or (item.at == "min" and not item.minimum)


def _style(item: Weight) -> str:
    return (QUIET if left_out(item) else "yellow") if _called_out(item) else ""


def allowed(item: Weight) -> str:
    if item.minimum is None or item.maximum is None:
        return "fixed"
    if not item.maximum:
        return "none"
    return f"{short(item.minimum)} to {short(item.maximum)}"


def limit_words(limit: Limit) -> str:
    """A limit's bound in words: "at least 2.00:1"."""
    return f"{'at least' if limit.sense == '>=' else 'at most'} {bound_words(limit)}"


def bound_words(limit: Limit) -> str:
    """The bound alone: "2.00:1", "6.5 g"."""
    if limit.unit == ":1":
        return f"{decimal(limit.bound, 4 if limit.bound * 100 % 1 else 2)}:1"
    return amount(limit.bound, limit.unit) if limit.unit in ("share", "used") else \
        f"{short(limit.bound, 6)} {limit.unit}"


def tightness(state: LimitState) -> tuple[bool, Fraction]:
    """Sort key from binding (or broken) to loose: slack as a share of the limit."""
    if state.slack is None:
        return True, Fraction(0)
    return False, state.slack / (abs(state.limit.bound) or Fraction(1))


def saving(state: LimitState, unit: str) -> tuple[str, str]:
    """By how much to loosen a limit, and what that would save of the objective; the heading has its unit."""
    words, amount_saved = loosening(state)
    size = Fraction(amount_saved) * (100 if unit == "share moved" else 1)
    return (words, visible(size, 2)) if words and size else ("", "")


SAVES = {"g moved": "g", "share moved": "% points", "price of the batch": "price", "kcal per serving": "kcal",
         "g net carbs per serving": "g net carbs"}
"""Unit of an objective to the unit in the heading of what loosening saves."""


def told(state: LimitState) -> bool:
    """Whether a limit has a line of its own: an ingredient's bound only where loosening it saves or it is broken."""
    broken = state.slack is not None and state.slack < 0
    return state.limit.kind != "ingredient" or bool(loosening(state)[0]) or broken


def limits_table(states: Sequence[LimitState], unit: str) -> Table:
    """Limits from binding to loose; an ingredient's own bound only where it binds."""
    table = grid(("limit", "left"), ("allowed", "left"), ("is", "right"), ("slack", "right"),
                 *((("looser by", "right"), (f"saves\n{SAVES.get(unit, unit)}", "right")) if unit else ()))
    for state in sorted(states, key=tightness):
        limit = state.limit
        if not told(state):
            continue
        if state.actual is None or state.slack is None:
            table.add_row(limit.name, limit_words(limit), "none", "no protein or carbs")
            continue
        style = BAD if state.slack < 0 else "yellow" if state.binding else ""
        table.add_row(
            Text(limit.name, style),
            limit_words(limit),
            actual_text(state),
            Text(slack_text(state), style),
            *(saving(state, unit) if unit else ()),
        )
    return table


def actual_text(state: LimitState) -> str:
    """The limit's actual value, on the side of the bound where it really is."""
    assert state.actual is not None
    if state.limit.unit == ":1":
        return ratio(state.actual, [state])
    if state.limit.unit == "share":
        return f"{short(Fraction(honest(state.actual, 4, [state])) * 100, 4)} %"
    if state.limit.unit == "used":
        return short(state.actual, 0)
    decimals = 0 if state.limit.unit in ("kcal", "mg") and state.actual >= 10 else 2
    return f"{honest(state.actual, decimals, [state])} {state.limit.unit}"


def broken_words(state: LimitState) -> str:
    """A limit that is not kept, and what is instead."""
    actual = "without protein or carbs" if state.actual is None else actual_text(state)
    name = state.limit.subject.words if state.limit.kind == "ingredient" else state.limit.name
    return f"{name} {limit_words(state.limit)}, is {actual}"


def slack_text(state: LimitState) -> str:
    """"binding", or the slack; "broken by" where the limit is not kept."""
    assert state.slack is not None
    if state.binding:
        return "binding"
    unit = state.limit.unit
    size = abs(state.slack)
    if unit in (":1", "share"):
        scaled, mark = (size, "") if unit == ":1" else (size * 100, " %")
        text = f"{visible(scaled, 2)}{mark}"
    elif unit == "used":
        text = short(size, 0)
    else:
        text = f"{visible(size, 0 if unit in ('kcal', 'mg') and size >= 10 else 2)} {unit}"
    return f"broken by {text}" if state.slack < 0 else text


def allergens_of(dish: Check | Proposal) -> str:
    """The allergens of a dish with weights, in words."""
    grams = tuple(weight.grams for weight in dish.weights)
    return allergen_words(dish.allergens, allergens_unknown(dish.recipe, grams))


def notes(recipe: Recipe, allergens: str | None, warnings: Sequence[str], cautions: Sequence[str],
          of: str = "") -> Group:
    """Policy, allergens, warnings and cautions, at the foot of every report that states a ratio.

    `allergens` are those of the dish in words, None where there are no weights; `of` says which dish. A warning that
    says no more than they do is left out.
    """
    lines: list[RenderableType] = [Text("")]
    lines.append(Text(f"Reckoned: {recipe.policy.described()}.", QUIET))
    if allergens is not None:
        lines.append(Text.assemble(f"Allergens{of}: ", (allergens, STRONG)))
    lines.extend(Text(f"Note: {warning}.", "yellow") for warning in warnings
                 if not (allergens or "").endswith(warning.removeprefix(ALLERGENS_ARE)))
    return Group(*lines, *caution_lines(cautions))


def cautions_report() -> RenderableType:
    """All cautions, a paragraph each."""
    *usual, strong = cautions()
    return Group(*(part for text in usual for part in (Text(text), Text(""))), Text(strong, STRONG))


def caution_lines(cautions: Sequence[str]) -> list[Text]:
    """The cautions as a screen has them: short, with where the whole can be read."""
    return [Text(line, QUIET if k == 0 else STRONG) for k, line in enumerate(on_screen(cautions))]
