"""Recipes and tables for the tests, as a cook or a program would give them."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ratio_solver import FoodTable, Recipe, load_foods, recipe_from
from tests.oracle.recipes import random_recipe, random_table, write_table

MASH = """title = "Mash"
servings = 4
[targets]
ratio = 2
net_carbs = 11
[[ingredients]]
food = "celeriac, raw"
grams = 400
min = 300
max = 450
[[ingredients]]
food = "butter, salted"
grams = 40
min = 0
max = 200
"""
"""A recipe file of two adjustable ingredients, as text."""

COLUMNS = ("food", "id", "carb_basis", "fat_g", "protein_g", "carbs_g", "fibre_g")


def food(name: str, fat: float = 0, protein: float = 0, carbs: float = 0, fibre: float | str = 0,
         basis: str = "by_difference", **more: Any) -> dict[str, str]:
    """A row of a composition table."""
    row = {"food": name, "id": f"own:{name}", "carb_basis": basis, "fat_g": fat, "protein_g": protein,
           "carbs_g": carbs, "fibre_g": fibre, **more}
    return {column: str(value) for column, value in row.items()}


def table(folder: Path, *rows: Mapping[str, str]) -> FoodTable:
    """A composition table of these rows alone."""
    return load_foods(table_file(folder, *rows), bundled=False)


def table_file(folder: Path, *rows: Mapping[str, str]) -> Path:
    """A CSV file of these rows."""
    path = folder / "own.csv"
    write_table(path, list(rows))
    return path


def dish(ingredients: Sequence[Mapping[str, Any]], servings: int = 1, **more: Any) -> dict[str, Any]:
    """A recipe as a TOML reader gives it."""
    return {"title": "a dish", "servings": servings, "ingredients": list(ingredients), **more}


def drawn(seed: int, folder: Path, kind: str = "mixed") -> tuple[dict[str, Any], list[dict[str, str]], Recipe]:
    """A seeded random recipe: as written, with the rows of its table, and as read."""
    rows = random_table(seed, 24)
    written = random_recipe(random.Random(seed), rows, kind=kind)
    return written, rows, recipe_from(written, table(folder, *rows))
