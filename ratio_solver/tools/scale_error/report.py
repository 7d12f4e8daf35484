"""Sections and reports for the bench: scale error, household measures, portions."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.dish.confidence import kept_for
from ratio_solver.dish.constraints import Limit
from ratio_solver.dish.notices import allergen_words
from ratio_solver.foods.nutrients import NET_CARBS, spoken
from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    STRONG,
    batch_line,
    broken_words,
    grid,
    limit_words,
    notes,
    section,
)
from ratio_solver.output.numbers import decimal, honest, ratio, short, short_weight
from ratio_solver.recipe.model import RATIO

if TYPE_CHECKING:
    from ratio_solver.dish.status import LimitState, Weight
    from ratio_solver.tools.portions.compute import Portions
    from ratio_solver.tools.portions.shares import Share
    from ratio_solver.tools.scale_error.compute import Interval, ScaleError


def scale_error_section(found: ScaleError) -> RenderableType:
    """Ratio, net carbs and targets at the worst that the scale can do; ends are rounded outwards."""
    table = grid(("", "left"), ("from", "right"), ("to", "right"), ("", "left"))
    shown = {limit.limit.nutrient for limit in found.targets}
    for nutrient, interval, unit in ((RATIO, found.ratio, ":1"), (NET_CARBS, found.net_carbs, " g")):
        if nutrient not in shown:
            table.add_row(spoken(nutrient), *_ends(interval, unit), "")
    for item in found.targets:
        unit = ":1" if item.limit.unit == ":1" else f" {item.limit.unit}"
        state = Text("kept whatever the error", GOOD) if item.kept else Text("may be missed", BAD)
        table.add_row(f"{item.limit.name}, {limit_words(item.limit)}", *_ends(item.interval, unit, item.limit), state)
    return section(f"With the scale's error: {found.scale.name}", table)


def _ends(interval: Interval, unit: str, limit: Limit | None = None) -> tuple[str, str]:
    least = 0 if unit == " kcal" else 2
    limits = () if limit is None else (limit,)
    low = "none" if interval.low is None else f"{outwards(interval.low, -1, *limits, decimals=least)}{unit}"
    high = "no end" if interval.high is None else f"{outwards(interval.high, 1, *limits, decimals=least)}{unit}"
    return low, high


def outwards(value: Fraction, way: int, *limits: Limit, decimals: int = 2) -> str:
    """A value rounded away from the middle of its interval, but never across a limit it keeps or misses.

    >>> outwards(Fraction(19999, 10000), -1), outwards(Fraction(20001, 10000), 1)
    ('1.99', '2.01')
    """
    for places in range(decimals, 7):
        scaled = value * 10**places
        whole = scaled.numerator // scaled.denominator if way < 0 else -(-scaled.numerator // scaled.denominator)
        text = Fraction(whole, 10**places)
        if all(_same_side(text, value, limit.bound) for limit in limits):
            break
    return decimal(text, places)


def _same_side(shown: Fraction, value: Fraction, bound: Fraction) -> bool:
    return (shown >= bound) == (value >= bound) and (shown <= bound) == (value <= bound)


def measures_section(weights: Sequence[Weight]) -> RenderableType:
    """Weights in household measures where the food has one that fits."""
    table = grid(("ingredient", "left"), ("g", "right"), ("about", "left"))
    for item in weights:
        if item.measure:
            table.add_row(Text(item.ingredient), short_weight(item.grams), f"≈ {item.measure}")
    if not table.row_count:
        return section("In household measures", Text("No ingredient has a measure that fits.", QUIET))
    return section("In household measures (a help; the weights are the truth)", table)


def portions_report(found: Portions) -> RenderableType:
    """What goes into each serving, for the bench."""
    recipe = found.recipe
    lines: list[RenderableType] = [
        Text.assemble((recipe.title, STRONG), "  portions"),
        Text(_batch_line(found)),
    ]
    if found.own_weight is not None:
        lines.append(Text(f"Another size than the recipe's serving of {short(found.own_weight, 1)} g: its targets are "
                          "held against this portion.", "yellow"))
    lines.extend(_broken_lines(found))
    if len(found.parts) > 1 or recipe.pieces:
        lines.append(section("Each part, mixed and weighed out as one", _parts_table(found)))
    lines.append(section("Each ingredient, weighed out by itself", _ingredients_table(found)))
    lines.append(section(f"One {_unit(found)}", _range_text(found)))
    lines.append(notes(recipe, allergen_words(found.allergens, found.allergens_unknown), found.warnings,
                       found.cautions))
    return Group(*lines)


def _batch_line(found: Portions) -> str:
    """What the batch makes: the recipe's servings, or portions of the weight that was asked for."""
    batch = f"A batch of {short(found.batch, 1)} g"
    if found.portion is None:
        return f"{batch} makes {batch_line(found.recipe, found.facts)}."
    cooked, after = ("", "") if found.cooked is None else (f" ({short(found.cooked, 1)} g cooked)", " cooked")
    word = "portion" if found.recipe.servings == 1 else "portions"
    over = f"{short(found.left, 1)} g{after} are left over" if found.left else "nothing is left over"
    return (f"{batch}{cooked} makes {found.recipe.servings} {word} of {short(found.portion, 2)} g{after}; "
            f"{over}.")


def _unit(found: Portions) -> str:
    return "serving" if found.portion is None else "portion"


def _broken_lines(found: Portions) -> list[RenderableType]:
    """What is broken before any rounding: by the dish itself, and by a portion of this size."""
    lines = []
    if found.own_broken:
        lines.append(Text(f"As written this dish breaks: {_told(found.own_broken)}.", BAD))
    if found.portion is not None and found.broken:
        lines.append(Text(f"A portion of {short(found.portion, 2)} g breaks: {_told(found.broken)}.", BAD))
    return list(lines)


def _told(states: Sequence[LimitState]) -> str:
    return "; ".join(map(broken_words, states))


def _parts_table(found: Portions) -> RenderableType:
    pieces = found.recipe.pieces
    table = grid(("part", "left"), ("batch g", "right"), (f"{_unit(found)}s x g", "left"),
                 *((("g per piece", "right"),) if pieces else ()), *_left_column(found))
    for share in found.parts:
        table.add_row(Text(share.part), short(share.total), shared(share),
                      *((decimal(share.even / pieces, 1),) if pieces else ()), *_left_cell(found, share))
    return table


def _ingredients_table(found: Portions) -> RenderableType:
    table = grid(("part", "left"), ("ingredient", "left"), ("batch g", "right"), (f"{_unit(found)}s x g", "left"),
                 *_left_column(found))
    for part, members in groupby(found.ingredients, key=lambda share: share.part):
        for k, share in enumerate(members):
            table.add_row(Text(part if not k else "", QUIET), Text(share.ingredient), short(share.total),
                          shared(share), *_left_cell(found, share))
    return table


def _left_column(found: Portions) -> tuple[tuple[str, str], ...]:
    return (("left g", "right"),) if found.left else ()


def _left_cell(found: Portions, share: Share) -> tuple[str, ...]:
    return (short(share.left, 3),) if found.left else ()


def shared(share: Share) -> str:
    """How many servings get how much: "4 x 16.7, 2 x 16.6"."""
    return ", ".join(f"{count} x {short(grams, 3)}" for count, grams in share.counts)


def _range_text(found: Portions) -> RenderableType:
    lowest, highest = _range([serving.facts.ratio for serving in found.servings])
    carbs = [serving.facts.amounts[NET_CARBS] for serving in found.servings]
    same = "divided evenly" if len(found.servings) > 1 else f"in every {_unit(found)}"
    on_ratio = [] if found.guaranteed else [s for s in found.limits if s.limit.nutrient == RATIO]
    on_carbs = [] if found.guaranteed else [s for s in found.limits if s.limit.nutrient == NET_CARBS]
    lines: list[RenderableType] = [
        Text(f"ratio {ratio(found.facts.ratio, on_ratio)}{found.recipe.policy.formula}, "
             f"net carbs {honest(found.facts.amounts[NET_CARBS], 2, on_carbs)} g {same}"),
    ]
    if len(found.servings) > 1 and lowest is not None and highest is not None:
        ratios, nets = [s.limit for s in on_ratio], [s.limit for s in on_carbs]
        lines.append(Text(
            f"as weighed out above: ratio {outwards(lowest, -1, *ratios)} to {outwards(highest, 1, *ratios)}:1, "
            f"net carbs {outwards(min(carbs), -1, *nets)} to {outwards(max(carbs), 1, *nets)} g"))
    broken = {state.limit.identity for state in found.broken}
    rounded = [state for state in found.dealt_broken if state.limit.identity not in broken]
    if rounded:
        lines.append(Text(f"Not every {_unit(found)} as weighed out keeps every target, as shares are rounded to the "
                          f"step: {_told(rounded)}.", "yellow"))
    elif found.kept and found.limits and not found.broken:
        held = kept_for(found.guaranteed, found.sure)
        lines.append(Text(f"Every {_unit(found)} as weighed out keeps every target{held}.", GOOD))
    over = ", with what is left," if found.left else ""
    lines.append(Text(f"The shares of every line{over} add up to its batch weight exactly.", QUIET))
    return Group(*lines)


def _range(values: Sequence[Fraction | None]) -> tuple[Fraction | None, Fraction | None]:
    known = [value for value in values if value is not None]
    return (min(known), max(known)) if known else (None, None)
