"""Weights for a dish that keeps a stated macronutrient ratio under a net-carbohydrate ceiling.

>>> from ratio_solver import load_foods, read_recipe, solve      # doctest: +SKIP
>>> answer = solve(read_recipe("dish.toml", load_foods()))       # doctest: +SKIP
>>> answer.outcome                                               # doctest: +SKIP
'solved'

Names are loaded when they are first used, so that what does not solve does not load the solver.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ratio_solver.faults import BadInput, Fault, NotProven, RatioSolverError
    from ratio_solver.foods.food import Food
    from ratio_solver.foods.policy import Policy
    from ratio_solver.foods.table import FoodTable, load_foods
    from ratio_solver.proposals.answer import Impossible, Proposal
    from ratio_solver.proposals.propose import solve
    from ratio_solver.recipes.check import Check, check
    from ratio_solver.recipes.labelling import Declared, declared
    from ratio_solver.recipes.recipe import Ingredient, Recipe, Target
    from ratio_solver.recipes.toml_file import read_recipe, recipe_from
    from ratio_solver.reports.card import card

_HOMES = {
    "BadInput": "faults", "Fault": "faults", "NotProven": "faults", "RatioSolverError": "faults",
    "Food": "foods.food", "Policy": "foods.policy", "FoodTable": "foods.table", "load_foods": "foods.table",
    "Impossible": "proposals.answer", "Proposal": "proposals.answer", "solve": "proposals.propose",
    "Check": "recipes.check", "check": "recipes.check",
    "Declared": "recipes.labelling", "declared": "recipes.labelling", "card": "reports.card",
    "Ingredient": "recipes.recipe", "Recipe": "recipes.recipe", "Target": "recipes.recipe",
    "read_recipe": "recipes.toml_file", "recipe_from": "recipes.toml_file",
}

__all__ = [
    "BadInput", "Check", "Declared", "Fault", "Food", "FoodTable", "Impossible", "Ingredient", "NotProven",
    "Policy", "Proposal", "RatioSolverError", "Recipe", "Target", "card", "check", "declared", "load_foods",
    "read_recipe", "recipe_from", "solve",
]


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module 'ratio_solver' has no attribute {name!r}")
    return getattr(import_module(f"ratio_solver.{_HOMES[name]}"), name)
