"""Scale error and portions as plain data, for JSON and CSV."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.foods.ends import kind_of
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.output.dish_data import facts_data, limit_data, policy_data
from ratio_solver.output.json_csv import Data
from ratio_solver.output.numbers import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ratio_solver.tools.portions.compute import Portions
    from ratio_solver.tools.portions.shares import Share
    from ratio_solver.tools.scale_error.compute import Interval, ScaleError

SHARE_COLUMNS = ("part", "ingredient", "batch_g", "serving_g", "servings", "grams", "left_g")
"""A row for each size of share: so many servings get so many grams."""


def scale_error_data(found: ScaleError) -> Data:
    """The value of the key ``scale_error``; an end without limit is null."""
    return {
        "scale": found.scale.name,
        "errors_g": [plain(error) for error in found.errors],
        "ratio": _interval(found.ratio),
        "net_carbs_g": _interval(found.net_carbs),
        "targets": [
            {"name": item.limit.name, "sense": item.limit.sense, "limit": plain(item.limit.bound),
             "unit": item.limit.unit, **_interval(item.interval), "kept": item.kept}
            for item in found.targets
        ],
    }


def _interval(interval: Interval) -> Data:
    return {"low": plain(interval.low), "high": plain(interval.high)}


def portions_data(found: Portions) -> Data:
    """The outcome of `portions`; weights in g."""
    ratios = [serving.facts.ratio for serving in found.servings if serving.facts.ratio is not None]
    carbs = [serving.facts.amounts[NET_CARBS] for serving in found.servings]
    return {
        "title": found.recipe.title,
        "servings": found.recipe.servings,
        "pieces": found.recipe.pieces,
        "batch_g": plain(found.batch),
        "cooked_g": plain(found.cooked),
        "portion_g": plain(found.portion),
        "left_g": plain(found.left),
        "parts": [share_data(share, found.recipe.pieces) for share in found.parts],
        "ingredients": [share_data(share, found.recipe.pieces) for share in found.ingredients],
        "per_serving": facts_data(found.facts, found.limits),
        "as_weighed_out": {"ratio": _ends(ratios), "net_carbs_g": _ends(carbs), "kept": found.kept,
                           "breaks": [limit_data(state) for state in found.dealt_broken]},
        "breaks": [limit_data(state) for state in found.broken],
        "portion_breaks": [limit_data(state) for state in found.portion_broken],
        "recipe_serving_breaks": [limit_data(state) for state in found.own_broken],
        "guaranteed": found.sure or False,
        "intervals": kind_of(found.guaranteed),
        "policy": policy_data(found.recipe, found.guaranteed),
        "allergens": list(found.allergens),
        "allergens_unknown": list(found.allergens_unknown),
        "warnings": list(found.warnings),
        "cautions": list(found.cautions),
    }


def _ends(values: Sequence[Fraction]) -> Data:
    return {"low": plain(min(values, default=None)), "high": plain(max(values, default=None))}


def share_data(share: Share, pieces: int | None) -> Data:
    """How one amount is dealt out."""
    return {
        "part": share.part, "ingredient": share.ingredient or None, "batch_g": plain(share.total),
        "serving_g": plain(share.even), "piece_g": plain(share.even / pieces) if pieces else None,
        "left_g": plain(share.left),
        "shares": [{"servings": count, "grams": plain(grams)} for count, grams in share.counts],
    }


def share_rows(found: Portions) -> list[Data]:
    """Rows for CSV: a row for each ingredient and size of share."""
    return [
        {"part": share.part, "ingredient": share.ingredient, "batch_g": plain(share.total),
         "serving_g": plain(share.even), "servings": count, "grams": plain(grams), "left_g": plain(share.left)}
        for share in found.ingredients for count, grams in share.counts
    ]
