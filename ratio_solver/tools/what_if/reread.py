"""The same dish under another composition table, or another policy: what a scenario changes beside targets and bounds.

The recipe is written out and read again, so that it is what it would be if its file said so.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.bundled import BUNDLED, table_path
from ratio_solver.foods.table import FoodTable
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.read import recipe_from
from ratio_solver.recipe.write import recipe_text

FOODS, POLICY = "foods", "policy."
ASKED = "foods=TABLE, policy.KEY=VALUE"
"""How these changes are asked for, in the words of the recipe file."""


def reread(recipe: Recipe, foods: FoodTable, parts: Sequence[str]) -> Recipe:
    """The recipe with a table laid over the others, or with other choices behind its figures.

    Parameters
    ----------
    recipe : Recipe
    foods : FoodTable
        That it was read with.
    parts : sequence of str
        "foods=europe", "foods=own.csv", "policy.ratio_formula=total", "policy.energy=us",
        "policy.left_out.erythritol=0.5".

    Raises
    ------
    BadInput
        With what is wrong, each with the key that it is about.
    """
    if not parts:
        return recipe
    table: dict[str, Any] = tomllib.loads(recipe_text(recipe))
    for part in parts:
        key, _, value = (word.strip() for word in part.partition("="))
        if not value:
            raise BadInput([Fault("", key, "", f"expected {ASKED}")])
        if key == FOODS:
            if value not in BUNDLED and not table_path(value).is_file():
                raise BadInput([Fault("", key, value, f"expected {' or '.join(BUNDLED)}, or the path of a CSV file")])
            foods = foods.under(value)
        else:
            _put(table, key.split("."), _number_or_text(value))
    return replace(recipe_from(table, foods, recipe.source), remarks=recipe.remarks, presentation=recipe.presentation)


def _put(table: dict[str, Any], keys: Sequence[str], value: object) -> None:
    """A value at its place in nested tables; where something else stands on the way it is left for its fault."""
    *path, last = keys
    for key in path:
        inner = table.setdefault(key, {})
        if not isinstance(inner, dict):
            table[key] = inner = {}
        table = inner
    table[last] = value


def _number_or_text(value: str) -> object:
    try:
        return float(value)
    except ValueError:
        return value


def asks_to_reread(part: str) -> bool:
    """Whether a change of a scenario is one of the table or the policy."""
    key = part.partition("=")[0].strip()
    return key == FOODS or key.startswith(POLICY)
