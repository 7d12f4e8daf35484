"""What goes into each serving: text for the bench, JSON and CSV."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import groupby

from ratio_solver.dish.confidence import kept_for
from ratio_solver.dish.notices import allergen_words
from ratio_solver.dish.status import LimitState
from ratio_solver.foods.ends import kind_of
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.output.blocks import BAD, GOOD, QUIET, STRONG, Block, Cell, Text, batch_line, notes, section, table_of
from ratio_solver.output.dish_text import broken_words, facts_data, limit_data, policy_data
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import counted, decimal, honest, plain, ratio, short
from ratio_solver.recipe.model import RATIO
from ratio_solver.tools.portions.compute import Portions, Share
from ratio_solver.tools.scale_error.compute import outwards

SHARE_COLUMNS = ("part", "ingredient", "batch_g", "serving_g", "servings", "grams", "left_g")
"""A row for each size of share: so many servings get so many grams."""


def text(found: Portions) -> Block:
    """What goes into each serving, for the bench."""
    recipe, unit = found.recipe, _unit(found)
    columns = (("batch g", "right"), (f"{unit}s x g", "left"))
    left = [("left g", "right")] if found.left else []
    pieces = [("g per piece", "right")] if recipe.pieces else []
    parts = section("Each part, mixed and weighed out as one", table_of(
        (("part", "left"), *columns, *pieces, *left),
        ((Text(share.part), *_share_cells(found, share, recipe.pieces)) for share in found.parts)))
    return (
        Text.assemble((recipe.title, STRONG), "  portions"),
        Text(_batch_line(found)),
        *_broken_lines(found),
        *([parts] if len(found.parts) > 1 or recipe.pieces else []),
        section("Each ingredient, weighed out by itself", table_of(
            (("part", "left"), ("ingredient", "left"), *columns, *left), _ingredient_rows(found))),
        section(f"One {unit}", *_serving_lines(found)),
        notes(recipe, allergen_words(found.allergens, found.allergens_unknown), found.warnings, found.cautions),
    )


def _unit(found: Portions) -> str:
    return "serving" if found.portion is None else "portion"


def _batch_line(found: Portions) -> str:
    """What the batch makes: the recipe's servings, or portions of the weight that was asked for."""
    batch = f"A batch of {short(found.batch, 1)} g"
    if found.portion is None:
        return f"{batch} makes {batch_line(found.recipe, found.facts)}."
    cooked, after = ("", "") if found.cooked is None else (f" ({short(found.cooked, 1)} g cooked)", " cooked")
    over = f"{short(found.left, 1)} g{after} are left over" if found.left else "nothing is left over"
    return (f"{batch}{cooked} makes {counted(found.recipe.servings, 'portion')} of {short(found.portion, 2)} g{after}; "
            f"{over}.")


def _broken_lines(found: Portions) -> Iterator[Block]:
    """What is broken before any rounding: by the dish itself, and by a portion of this size."""
    if found.own_weight is not None:
        yield Text(f"Another size than the recipe's serving of {short(found.own_weight, 1)} g: its targets are "
                   "held against this portion.", "yellow")
    if found.own_broken:
        yield Text(f"As written this dish breaks: {_named_part(found.own_broken)}.", BAD)
    if found.portion is not None and found.broken:
        yield Text(f"A portion of {short(found.portion, 2)} g breaks: {_named_part(found.broken)}.", BAD)


def _named_part(states: Iterable[LimitState]) -> str:
    return "; ".join(map(broken_words, states))


def _ingredient_rows(found: Portions) -> Iterator[Sequence[Cell]]:
    for part, members in groupby(found.ingredients, key=lambda share: share.part):
        for place, share in enumerate(members):
            yield Text("" if place else part, QUIET), Text(share.ingredient), *_share_cells(found, share, None)


def _share_cells(found: Portions, share: Share, pieces: int | None) -> Iterator[str]:
    """A share's weight, how many servings get how much ("4 x 16.7, 2 x 16.6"), a piece of it, and what is left."""
    yield short(share.total)
    yield ", ".join(f"{count} x {short(grams, 3)}" for count, grams in share.counts)
    yield from [decimal(share.even / pieces, 1)] if pieces else []
    yield from [short(share.left, 3)] if found.left else []


def _serving_lines(found: Portions) -> Iterator[Block]:
    """Ratio and net carbs of an even serving and of those dealt out, and whether these keep the targets."""
    several, unit = len(found.servings) > 1, _unit(found)
    on_ratio, on_carbs = ([] if found.guaranteed else [s for s in found.limits if s.limit.nutrient == nutrient]
                          for nutrient in (RATIO, NET_CARBS))
    yield Text(f"ratio {ratio(found.facts.ratio, on_ratio)}{found.recipe.policy.formula}, "
               f"net carbs {honest(found.facts.amounts[NET_CARBS], 2, on_carbs)} g "
               f"{'divided evenly' if several else f'in every {unit}'}")
    ratios, carbs = _dealt_figures(found)
    if several and ratios:
        (low, high), (least, most) = ([outwards(end(values), way, *(state.limit for state in states))
                                       for end, way in ((min, math.floor), (max, math.ceil))]
                                      for values, states in ((ratios, on_ratio), (carbs, on_carbs)))
        yield Text(f"as weighed out above: ratio {low} to {high}:1, net carbs {least} to {most} g")
    broken = {state.limit.identity for state in found.broken}
    rounded = [state for state in found.dealt_broken if state.limit.identity not in broken]
    if rounded:
        yield Text(f"Not every {unit} as weighed out keeps every target, as shares are rounded to the step: "
                   f"{_named_part(rounded)}.", "yellow")
    elif found.kept and found.limits and not found.broken:
        yield Text(f"Every {unit} as weighed out keeps every target{kept_for(found.guaranteed, found.sure)}.", GOOD)
    over = ", with what is left," if found.left else ""
    yield Text("All shares are as weighed in, before anything is cooked. "
               f"The shares of every line{over} add up to its batch weight exactly.", QUIET)


def _dealt_figures(found: Portions) -> tuple[list[Fraction], list[Fraction]]:
    """Ratios (those that there are) and net carbs of the servings as dealt out."""
    return ([serving.facts.ratio for serving in found.servings if serving.facts.ratio is not None],
            [serving.facts.amounts[NET_CARBS] for serving in found.servings])


def data(found: Portions) -> Data:
    """The same in the keys of the command's JSON; weights in g."""
    pieces, broken = found.recipe.pieces, [limit_data(state) for state in found.broken]
    ratios, carbs = _dealt_figures(found)
    return {
        "title": found.recipe.title,
        "servings": found.recipe.servings,
        "pieces": pieces,
        "batch_g": plain(found.batch),
        "cooked_g": plain(found.cooked),
        "portion_g": plain(found.portion),
        "left_g": plain(found.left),
        "parts": [_share_data(share, pieces) for share in found.parts],
        "ingredients": [_share_data(share, pieces) for share in found.ingredients],
        "per_serving": facts_data(found.facts, found.limits),
        "as_weighed_out": {"ratio": _lowest_highest(ratios), "net_carbs_g": _lowest_highest(carbs), "kept": found.kept,
                           "breaks": [limit_data(state) for state in found.dealt_broken]},
        "breaks": broken,
        "portion_breaks": broken,
        "recipe_serving_breaks": [limit_data(state) for state in found.own_broken],
        "guaranteed": found.sure or False,
        "intervals": kind_of(found.guaranteed),
        "policy": policy_data(found.recipe, found.guaranteed, found.grams_of_each),
        "allergens": list(found.allergens),
        "allergens_unknown": list(found.allergens_unknown),
        "warnings": list(found.warnings),
        "cautions": list(found.cautions),
    }


def _lowest_highest(values: Sequence[Fraction]) -> Data:
    return {"low": plain(min(values, default=None)), "high": plain(max(values, default=None))}


def _share_data(share: Share, pieces: int | None) -> Data:
    return {
        "part": share.part, "ingredient": share.ingredient or None, "batch_g": plain(share.total),
        "serving_g": plain(share.even), "piece_g": plain(share.even / pieces) if pieces else None,
        "left_g": plain(share.left),
        "shares": [{"servings": count, "grams": plain(grams)} for count, grams in share.counts],
    }


def rows(found: Portions) -> Rows:
    """A row for each ingredient and size of share."""
    return SHARE_COLUMNS, ({**_share_data(share, None), "servings": count, "grams": plain(grams)}
                           for share in found.ingredients for count, grams in share.counts)
