"""The outcome of `check` as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ratio_solver.output.json_csv import Data

if TYPE_CHECKING:
    from ratio_solver.dish.check import Check
from ratio_solver.output.dish_data import (
    facts_data,
    grams_of,
    limit_data,
    policy_data,
    unknown_allergens,
    unknown_data,
    weight_data,
)


def check_data(found: Check) -> Data:
    """The outcome of `check`."""
    return {
        "title": found.recipe.title,
        "servings": found.recipe.servings,
        "kept": found.kept,
        "broken": [state.limit.name for state in found.broken],
        "weights": [weight_data(weight) for weight in found.weights],
        "per_serving": facts_data(found.facts, found.limits),
        "unknown": unknown_data(found.facts),
        "limits": [limit_data(state) for state in found.limits],
        "allergens": list(found.allergens),
        "allergens_unknown": unknown_allergens(found),
        "policy": policy_data(found.recipe, found.guaranteed, grams_of(found), found.confidence),
        "warnings": list(found.warnings),
        "cautions": list(found.cautions),
    }
