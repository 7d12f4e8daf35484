"""Weights for a dish that keeps a stated macronutrient ratio under a net-carbohydrate ceiling.

>>> from ratio_solver import load_foods, read_recipe, solve
>>> answer = solve(read_recipe("examples/celeriac-gratin.toml", load_foods()))
>>> answer.outcome, f"{answer.per_serving['ratio']:.2f}:1", f"{answer.weights_g['cream']:.1f} g"
('solved', '2.00:1', '422.0 g')

What a function finds is an outcome: `answer.outcome` is a word, `answer.report()` the text of the command,
`answer.to_dict()` its JSON, `answer.rows()` its CSV, and a notebook shows it as tables. Figures are exact fractions;
`weights_g` and `per_serving` have them as floats.

Names are loaded when they are first used, so that what does not solve does not load the solver.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ratio_solver.day.compute import solve_day
    from ratio_solver.day.model import Day
    from ratio_solver.day.people import Person
    from ratio_solver.day.prescription.compute import Prescription, prescription
    from ratio_solver.day.read import people_of, read_days
    from ratio_solver.day.result import DayAnswer
    from ratio_solver.dish.cautions import cautions
    from ratio_solver.dish.check import Check, check
    from ratio_solver.dish.confidence import Confidence
    from ratio_solver.errors import BadInput, Fault, NotProven, RatioSolverError
    from ratio_solver.foods.food import Food
    from ratio_solver.foods.heat import Yield, YieldTable, bundled_yields, load_yields
    from ratio_solver.foods.matching import Match
    from ratio_solver.foods.package import food_from_label
    from ratio_solver.foods.policy import Policy
    from ratio_solver.foods.table import FoodTable, load_foods, match
    from ratio_solver.menu.results import MenuTables
    from ratio_solver.menu.run import run_menu, solve_frames
    from ratio_solver.menu.solve import MenuOptions, solve_frame, solve_menu
    from ratio_solver.recipe.change import fixed, with_kept_weight
    from ratio_solver.recipe.measures import household
    from ratio_solver.recipe.model import Ingredient, Recipe, Target
    from ratio_solver.recipe.read import read_recipe, recipe_from
    from ratio_solver.recipe.write import recipe_text
    from ratio_solver.solving.result import CuringFat, Diagnosis, Impossible, Proposal, Repair
    from ratio_solver.solving.solve import solve
    from ratio_solver.tools.add_fat.compute import AddFat, add_fat
    from ratio_solver.tools.adjust.compute import Adjustment, adjust
    from ratio_solver.tools.adjust.remedies import Remedy
    from ratio_solver.tools.book.compute import Book, BookOptions, book
    from ratio_solver.tools.card.compute import card
    from ratio_solver.tools.card.label import Declared, declared
    from ratio_solver.tools.curve.compute import Curve, Curves, curve
    from ratio_solver.tools.draft.compute import draft
    from ratio_solver.tools.draft.model import Draft
    from ratio_solver.tools.portions.compute import Portions, portions
    from ratio_solver.tools.recheck.compute import Recheck, recheck
    from ratio_solver.tools.recheck.record import record
    from ratio_solver.tools.scale_error.compute import ScaleError, scale_error, scale_named
    from ratio_solver.tools.shopping.compute import ShoppingList, shopping
    from ratio_solver.tools.swap.compute import Swap, swap
    from ratio_solver.tools.swap.try_all import Trials, try_all
    from ratio_solver.tools.what_if.compute import WhatIf, what_if

_HOMES = {name: module for module, names in {
    "day.compute": "solve_day",
    "day.model": "Day",
    "day.people": "Person",
    "day.prescription.compute": "Prescription prescription",
    "day.read": "people_of read_days",
    "day.result": "DayAnswer",
    "dish.cautions": "cautions",
    "dish.check": "Check check",
    "dish.confidence": "Confidence",
    "errors": "BadInput Fault NotProven RatioSolverError",
    "foods.food": "Food",
    "foods.heat": "Yield YieldTable bundled_yields load_yields",
    "foods.matching": "Match",
    "foods.package": "food_from_label",
    "foods.policy": "Policy",
    "foods.table": "FoodTable load_foods match",
    "menu.results": "MenuTables",
    "menu.run": "run_menu solve_frames",
    "menu.solve": "MenuOptions solve_frame solve_menu",
    "recipe.change": "fixed with_kept_weight",
    "recipe.measures": "household",
    "recipe.model": "Ingredient Recipe Target",
    "recipe.read": "read_recipe recipe_from",
    "recipe.write": "recipe_text",
    "solving.result": "CuringFat Diagnosis Impossible Proposal Repair",
    "solving.solve": "solve",
    "tools.add_fat.compute": "AddFat add_fat",
    "tools.adjust.compute": "Adjustment adjust",
    "tools.adjust.remedies": "Remedy",
    "tools.book.compute": "Book BookOptions book",
    "tools.card.compute": "card",
    "tools.card.label": "Declared declared",
    "tools.curve.compute": "Curve Curves curve",
    "tools.draft.compute": "draft",
    "tools.draft.model": "Draft",
    "tools.portions.compute": "Portions portions",
    "tools.recheck.compute": "Recheck recheck",
    "tools.recheck.record": "record",
    "tools.scale_error.compute": "ScaleError scale_error scale_named",
    "tools.shopping.compute": "ShoppingList shopping",
    "tools.swap.compute": "Swap swap",
    "tools.swap.try_all": "Trials try_all",
    "tools.what_if.compute": "WhatIf what_if",
}.items() for name in names.split()}

__all__ = [
    "AddFat", "Adjustment", "BadInput", "Book", "BookOptions", "Check", "Confidence", "CuringFat", "Curve",
    "Curves", "Day", "DayAnswer", "Declared", "Diagnosis", "Draft", "Fault", "Food", "FoodTable", "Impossible",
    "Ingredient", "Match", "MenuOptions", "MenuTables", "NotProven", "Person", "Policy", "Portions", "Prescription",
    "Proposal", "RatioSolverError", "Recheck", "Recipe", "Remedy", "Repair", "ScaleError", "ShoppingList", "Swap",
    "Target", "Trials", "WhatIf", "Yield", "YieldTable", "add_fat", "adjust", "book", "bundled_yields", "card",
    "cautions", "check", "curve", "declared", "draft", "fixed", "food_from_label", "household", "load_foods",
    "load_yields", "match", "people_of", "portions", "prescription", "read_days", "read_recipe", "recheck",
    "recipe_from", "recipe_text", "record", "run_menu", "scale_error", "scale_named", "shopping", "solve",
    "solve_day", "solve_frame", "solve_frames", "solve_menu", "swap", "try_all", "what_if", "with_kept_weight",
]


def __dir__() -> list[str]:
    """Every public name, whether it has been used or not."""
    return sorted({*globals(), *__all__})


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module 'ratio_solver' has no attribute {name!r}")
    return getattr(import_module(f"ratio_solver.{_HOMES[name]}"), name)
