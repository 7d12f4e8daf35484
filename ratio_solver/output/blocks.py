"""Reports for a terminal of 80 columns: data in, a renderable out; nothing is printed here."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
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
STRONG, QUIET, GOOD, BAD = "bold", "dim", "green", "red"


def grid(*columns: tuple[str, str], header: bool = True) -> Table:
    """A table without lines: (heading, "left" or "right") for each column."""
    table = Table(box=None, padding=(0, 2, 0, 0), header_style=QUIET, show_header=header, pad_edge=False)
    for heading, justify in columns:
        table.add_column(heading, justify="right" if justify == "right" else "left",
                         no_wrap=justify == "right", overflow="fold", min_width=1)
    return table


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
    if limit.unit == ":1":
        bound = f"{decimal(limit.bound, 4 if limit.bound * 100 % 1 else 2)}:1"
    elif limit.unit in ("share", "used"):
        bound = amount(limit.bound, limit.unit)
    else:
        bound = f"{short(limit.bound, 6)} {limit.unit}"
    return f"{'at least' if limit.sense == '>=' else 'at most'} {bound}"


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
    name = state.limit.name
    if state.limit.kind == "ingredient":
        name = name.removesuffix(" max" if state.limit.sense == "<=" else " min")
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
