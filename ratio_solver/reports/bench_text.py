"""Sections and reports for the bench: scale error, household measures, portions."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.recipes.limits import Limit
from ratio_solver.reports.figures import decimal, ratio, short
from ratio_solver.reports.text import BAD, GOOD, QUIET, STRONG, batch_line, grid, limit_words, notes, section

if TYPE_CHECKING:
    from ratio_solver.recipes.portions import Portions, Share
    from ratio_solver.recipes.scale_error import Interval, ScaleError
    from ratio_solver.recipes.standing import Weight


def scale_error_section(found: ScaleError) -> RenderableType:
    """Ratio, net carbs and targets at the worst that the scale can do; ends are rounded outwards."""
    table = grid(("", "left"), ("from", "right"), ("to", "right"), ("", "left"))
    shown = {limit.limit.name for limit in found.targets}
    for name, interval, unit in (("ratio", found.ratio, ":1"), ("net carbs", found.net_carbs, " g")):
        if name not in shown:
            table.add_row(name, *_ends(interval, unit), "")
    for item in found.targets:
        unit = ":1" if item.limit.unit == ":1" else f" {item.limit.unit}"
        state = Text("kept whatever the error", GOOD) if item.kept else Text("may be missed", BAD)
        table.add_row(f"{item.limit.name}, {limit_words(item.limit)}", *_ends(item.interval, unit, item.limit), state)
    return section(f"With the scale's error: {found.scale.name}", table)


def _ends(interval: Interval, unit: str, limit: Limit | None = None) -> tuple[str, str]:
    low = "none" if interval.low is None else f"{outwards(interval.low, -1, limit)}{unit}"
    high = "no end" if interval.high is None else f"{outwards(interval.high, 1, limit)}{unit}"
    return low, high


def outwards(value: Fraction, way: int, limit: Limit | None = None) -> str:
    """A value to two decimals, rounded away from the middle of its interval, but never across a limit it keeps.

    >>> outwards(Fraction(19999, 10000), -1), outwards(Fraction(20001, 10000), 1)
    ('1.99', '2.01')
    """
    for places in range(2, 7):
        scaled = value * 10**places
        whole = scaled.numerator // scaled.denominator if way < 0 else -(-scaled.numerator // scaled.denominator)
        text = Fraction(whole, 10**places)
        if limit is None or _same_side(text, value, limit.bound):
            break
    return decimal(text, places)


def _same_side(shown: Fraction, value: Fraction, bound: Fraction) -> bool:
    return (shown >= bound) == (value >= bound) and (shown <= bound) == (value <= bound)


def measures_section(weights: Sequence[Weight]) -> RenderableType:
    """Weights in household measures where the food has one that fits."""
    table = grid(("ingredient", "left"), ("g", "right"), ("about", "left"))
    for item in weights:
        if item.measure:
            table.add_row(Text(item.ingredient), short(item.grams), f"≈ {item.measure}")
    if not table.row_count:
        return section("In household measures", Text("No ingredient has a measure that fits.", QUIET))
    return section("In household measures (a help; the weights are the truth)", table)


def portions_report(found: Portions) -> RenderableType:
    """What goes into each serving, for the bench."""
    recipe = found.recipe
    lines: list[RenderableType] = [
        Text.assemble((recipe.title, STRONG), "  portions"),
        Text(f"A batch of {short(found.batch, 1)} g makes {batch_line(recipe, found.facts)}."),
    ]
    if found.portion is not None and found.left is not None:
        cooked = " cooked" if found.cooked is not None else ""
        over = f"; {short(found.left, 1)} g are left over, or shared as below" if found.left else ", nothing left over"
        lines.append(Text(f"{recipe.servings} portions of {short(found.portion, 1)} g{cooked}{over}."))
    if len(found.parts) > 1 or recipe.pieces:
        lines.append(section("Each part, mixed and weighed out as one", _parts_table(found)))
    lines.append(section("Each ingredient, weighed out by itself", _ingredients_table(found.ingredients)))
    lines.append(section("Per serving", _range_text(found)))
    lines.append(notes(recipe, found.allergens, found.warnings, found.cautions))
    return Group(*lines)


def _parts_table(found: Portions) -> RenderableType:
    pieces = found.recipe.pieces
    table = grid(("part", "left"), ("batch g", "right"), ("servings x g", "left"),
                 *((("g per piece", "right"),) if pieces else ()))
    for share in found.parts:
        table.add_row(Text(share.part), short(share.total), shared(share),
                      *((decimal(share.even / pieces, 1),) if pieces else ()))
    return table


def _ingredients_table(shares: Sequence[Share]) -> RenderableType:
    table = grid(("part", "left"), ("ingredient", "left"), ("batch g", "right"), ("servings x g", "left"))
    for part, members in groupby(shares, key=lambda share: share.part):
        for k, share in enumerate(members):
            table.add_row(Text(part if not k else "", QUIET), Text(share.ingredient), short(share.total),
                          shared(share))
    return table


def shared(share: Share) -> str:
    """How many servings get how much: "4 x 16.7, 2 x 16.6"."""
    return ", ".join(f"{count} x {short(grams, 3)}" for count, grams in share.counts)


def _range_text(found: Portions) -> RenderableType:
    lowest, highest = _range([serving.facts.ratio for serving in found.servings])
    carbs = [serving.facts.amounts[NET_CARBS] for serving in found.servings]
    same = "divided evenly" if len(found.servings) > 1 else "in every serving"
    lines: list[RenderableType] = [
        Text(f"ratio {ratio(found.facts.ratio)}, net carbs {decimal(found.facts.amounts[NET_CARBS], 2)} g {same}"),
    ]
    if len(found.servings) > 1 and lowest is not None and highest is not None:
        lines.append(Text(f"as weighed out above: ratio {outwards(lowest, -1)} to {outwards(highest, 1)}:1, net carbs "
                          f"{outwards(min(carbs), -1)} to {outwards(max(carbs), 1)} g"))
    if not found.kept:
        lines.append(Text("Not every serving as weighed out keeps every target: shares are rounded to the step.",
                          "yellow"))
    lines.append(Text("The shares of every line add up to its batch weight exactly.", QUIET))
    return Group(*lines)


def _range(values: Sequence[Fraction | None]) -> tuple[Fraction | None, Fraction | None]:
    known = [value for value in values if value is not None]
    return (min(known), max(known)) if known else (None, None)
