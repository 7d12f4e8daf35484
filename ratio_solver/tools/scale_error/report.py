"""What the scale's error does, and household measures: by themselves, and as parts of what a dish is told by."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.dish.check import DishAtWeights
from ratio_solver.foods.nutrients import NET_CARBS, spoken
from ratio_solver.foods.quantities import SHARE
from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    STRONG,
    Block,
    Cell,
    Text,
    caution_lines,
    limit_words,
    section,
    table_of,
)
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import in_unit, plain, short, short_weight, until, with_unit
from ratio_solver.recipe.model import RATIO
from ratio_solver.tools.scale_error.compute import scale_error, scale_named

if TYPE_CHECKING:
    from ratio_solver.dish.constraints import Limit
    from ratio_solver.dish.status import Weight
    from ratio_solver.solving.result import Impossible
    from ratio_solver.tools.scale_error.compute import Interval, LimitInterval, ScaleError

SCALE_COLUMNS = ("name", "sense", "limit", "unit", "low", "high", "kept", "caution")


def text(found: ScaleError) -> Block:
    """Ratio, net carbs and targets at the worst that the scale can do, with what goes with a ratio."""
    return (Text(found.recipe.title, STRONG), _section(found), Text(""), *caution_lines(found.cautions))


def _section(found: ScaleError) -> Block:
    """The same as a part of a report; ends are rounded outwards."""
    return section(f"With the scale's error: {found.scale.name}",
                   table_of((("", "left"), ("from", "right"), ("to", "right"), ("", "left")), _interval_rows(found)))


def _interval_rows(found: ScaleError) -> Iterator[Sequence[Cell]]:
    for name, unit, interval in _without_target(found):
        yield name, *_interval_ends(interval, unit), ""
    for target in found.targets:
        limit = target.limit
        yield (f"{limit.name}, {limit_words(limit)}", *_interval_ends(target.interval, limit.unit, limit),
               Text("kept whatever the error", GOOD) if target.kept else Text("may be missed", BAD))


def _without_target(found: ScaleError) -> list[tuple[str, str, Interval]]:
    """Name, unit and interval of the ratio and the net carbs, where the recipe sets no target of them."""
    targets = {target.limit.nutrient for target in found.targets}
    figures = ((RATIO, ":1", found.ratio), (NET_CARBS, "g", found.net_carbs))
    return [(spoken(nutrient), unit, interval) for nutrient, unit, interval in figures if nutrient not in targets]


def _interval_ends(interval: Interval, unit: str, *limits: Limit) -> tuple[str, str]:
    def told(end: Fraction, way: Callable[[Fraction], int]) -> str:
        text = outwards(end, way, *limits, decimals=4 if unit == SHARE else 0 if unit == "kcal" else 2)
        return with_unit(short(in_unit(Fraction(text), unit), 4) if unit == SHARE else text, unit)

    return ("none" if interval.low is None else told(interval.low, math.floor),
            "no end" if interval.high is None else told(interval.high, math.ceil))


def outwards(value: Fraction, way: Callable[[Fraction], int], *limits: Limit, decimals: int = 2) -> str:
    """A value rounded away from the middle of its interval, but never across a limit it keeps or misses.

    >>> outwards(Fraction(19999, 10000), math.floor), outwards(Fraction(20001, 10000), math.ceil)
    ('1.99', '2.01')
    """
    def sides(of: Fraction) -> list[tuple[bool, bool]]:
        return [(of >= limit.bound, of <= limit.bound) for limit in limits]

    return until(value, decimals, lambda seen: sides(seen) == sides(value), way)


def data(found: ScaleError) -> Data:
    """The same in the keys of the JSON of `solve` under "scale_error"; an end without limit is null."""
    return _error_data(found) | {"cautions": list(found.cautions)}


def _error_data(found: ScaleError) -> Data:
    return {
        "scale": found.scale.name,
        "errors_g": [plain(error) for error in found.errors],
        "ratio": _interval_data(found.ratio),
        "net_carbs_g": _interval_data(found.net_carbs),
        "targets": [_target_data(target) for target in found.targets],
    }


def _target_data(target: LimitInterval) -> Data:
    limit = target.limit
    return {"name": limit.name, "sense": limit.sense, "limit": plain(limit.bound), "unit": limit.unit,
            **_interval_data(target.interval), "kept": target.kept}


def _interval_data(interval: Interval) -> Data:
    return {"low": plain(interval.low), "high": plain(interval.high)}


def rows(found: ScaleError) -> Rows:
    """A row a target, after a ratio and net carbs that are none."""
    caution = {"caution": in_a_cell(found.cautions)}
    named: Iterator[Data] = ({"name": name, "unit": unit, **_interval_data(interval)}
                             for name, unit, interval in _without_target(found))
    return SCALE_COLUMNS, [row | caution for row in (*named, *map(_target_data, found.targets))]


def bench_sections(dish: DishAtWeights | Impossible, scale: str | None, measures: bool) -> list[Block]:
    """What `--measures` and `--scale-error` add to the report of a dish; nothing where it has no weights."""
    found = _error_of(dish, scale)
    told = [_section(found)] if found else []
    return [_measures_section(dish.weights), *told] if measures and isinstance(dish, DishAtWeights) else told


def bench_data(dish: DishAtWeights | Impossible, scale: str | None) -> Data:
    """What `--scale-error` adds to the JSON of a dish."""
    found = _error_of(dish, scale)
    return {} if scale is None else {"scale_error": found and _error_data(found)}


def _error_of(dish: DishAtWeights | Impossible, scale: str | None) -> ScaleError | None:
    """The effect of the scale that is named; None where none is, or where there are no weights."""
    named = None if scale is None else scale_named(scale)
    return scale_error(dish.recipe, dish.grams_of_each, named, guaranteed=dish.guaranteed) \
        if named and isinstance(dish, DishAtWeights) else None


def _measures_section(weights: Sequence[Weight]) -> Block:
    """Weights in household measures where the food has one that fits."""
    cells = [(Text(item.ingredient), short_weight(item.grams), f"≈ {item.measure}") for item in weights if item.measure]
    if not cells:
        return section("In household measures", Text("No ingredient has a measure that fits.", QUIET))
    return section("In household measures (a help; the weights are the truth)",
                   table_of((("ingredient", "left"), ("g", "right"), ("about", "left")), cells))
