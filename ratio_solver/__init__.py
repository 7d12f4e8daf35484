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
    from ratio_solver.foods.yields import Yield, YieldTable, bundled_yields, load_yields
    from ratio_solver.menus.run import run_menu
    from ratio_solver.proposals.add_fat import add_fat
    from ratio_solver.proposals.addition import AddFat
    from ratio_solver.proposals.adjust import Adjustment, adjust
    from ratio_solver.proposals.answer import CuringFat, Diagnosis, Impossible, Proposal, Repair
    from ratio_solver.proposals.curve import curve
    from ratio_solver.proposals.curve_answer import Curve, Curves
    from ratio_solver.proposals.menus.menu import MenuOptions, solve_frame, solve_menu
    from ratio_solver.proposals.menus.results import MenuTables
    from ratio_solver.proposals.propose import solve
    from ratio_solver.proposals.remedies import Remedy
    from ratio_solver.proposals.swap import Swap, swap
    from ratio_solver.proposals.trying import Trials, try_all
    from ratio_solver.proposals.what_if import WhatIf, what_if
    from ratio_solver.recipes.cautions import cautions
    from ratio_solver.recipes.check import Check, check
    from ratio_solver.recipes.confidence import Confidence
    from ratio_solver.recipes.labelling import Declared, declared
    from ratio_solver.recipes.measures import household
    from ratio_solver.recipes.portions import Portions, portions
    from ratio_solver.recipes.recipe import Ingredient, Recipe, Target
    from ratio_solver.recipes.scale_error import ScaleError, scale_error, scale_named
    from ratio_solver.recipes.shopping import ShoppingList, shopping
    from ratio_solver.recipes.toml_file import read_recipe, recipe_from
    from ratio_solver.recipes.toml_text import fixed, recipe_text
    from ratio_solver.reports.card import card

_HOMES = {
    "BadInput": "faults", "Fault": "faults", "NotProven": "faults", "RatioSolverError": "faults",
    "Food": "foods.food", "Policy": "foods.policy", "FoodTable": "foods.table", "load_foods": "foods.table",
    "Impossible": "proposals.answer", "Proposal": "proposals.answer", "solve": "proposals.propose",
    "CuringFat": "proposals.answer", "Diagnosis": "proposals.answer", "Repair": "proposals.answer",
    "AddFat": "proposals.addition", "add_fat": "proposals.add_fat",
    "Curve": "proposals.curve_answer", "Curves": "proposals.curve_answer", "curve": "proposals.curve",
    "Swap": "proposals.swap", "swap": "proposals.swap", "Trials": "proposals.trying", "try_all": "proposals.trying",
    "WhatIf": "proposals.what_if", "what_if": "proposals.what_if",
    "MenuOptions": "proposals.menus.menu", "MenuTables": "proposals.menus.results", "run_menu": "menus.run",
    "solve_frame": "proposals.menus.menu", "solve_menu": "proposals.menus.menu",
    "cautions": "recipes.cautions", "Check": "recipes.check", "check": "recipes.check",
    "Confidence": "recipes.confidence",
    "Declared": "recipes.labelling", "declared": "recipes.labelling", "card": "reports.card",
    "Ingredient": "recipes.recipe", "Recipe": "recipes.recipe", "Target": "recipes.recipe",
    "Adjustment": "proposals.adjust", "adjust": "proposals.adjust", "Remedy": "proposals.remedies",
    "Portions": "recipes.portions", "portions": "recipes.portions",
    "ScaleError": "recipes.scale_error", "scale_error": "recipes.scale_error",
    "scale_named": "recipes.scale_error",
    "ShoppingList": "recipes.shopping", "shopping": "recipes.shopping",
    "bundled_yields": "foods.yields", "load_yields": "foods.yields", "Yield": "foods.yields",
    "YieldTable": "foods.yields", "household": "recipes.measures",
    "fixed": "recipes.toml_text", "recipe_text": "recipes.toml_text",
    "read_recipe": "recipes.toml_file", "recipe_from": "recipes.toml_file",
}

__all__ = [
    "AddFat", "Adjustment", "BadInput", "Check", "Confidence", "CuringFat", "Curve", "Curves", "Declared",
    "Diagnosis", "Fault", "Food", "FoodTable", "Impossible", "Ingredient", "MenuOptions", "MenuTables", "NotProven",
    "Policy", "Portions", "Proposal", "RatioSolverError", "Recipe", "Remedy", "Repair", "ScaleError", "ShoppingList",
    "Swap", "Target", "Trials", "WhatIf", "Yield", "YieldTable", "add_fat", "adjust", "bundled_yields", "card",
    "cautions", "check", "curve", "declared", "fixed", "household", "load_foods", "load_yields", "portions",
    "read_recipe", "recipe_from", "recipe_text", "run_menu", "scale_error", "scale_named", "shopping", "solve",
    "solve_frame", "solve_menu", "swap", "try_all", "what_if",
]


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module 'ratio_solver' has no attribute {name!r}")
    return getattr(import_module(f"ratio_solver.{_HOMES[name]}"), name)
