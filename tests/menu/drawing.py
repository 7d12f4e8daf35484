"""Random menus in long form, from the seeded recipes and dishes of the second opinion and the benchmarks."""

from __future__ import annotations

import os
import random
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import pytest

from ratio_solver.menu import solve as menu_module
from tests.bench.menus import Dish
from tests.oracle.recipes import random_recipe

TIMES = int(os.environ.get("MENU_TIMES", "1"))
"""How many times as many recipes as usual are drawn: MENU_TIMES=10 for a long look."""

ENDS = {"ratio_min": "ratio", "net_carbs_max": "net_carbs"}


def long_rows(name: str, recipe: Mapping[str, Any]) -> list[dict[str, str]]:
    """Rows of the menu for a recipe as `tomllib` would read it; parts and the like are left out."""
    rows: list[dict[str, str]] = []
    for place, ingredient in enumerate(recipe["ingredients"]):
        row: dict[str, Any] = {"recipe": name}
        if place == 0:
            row["servings"] = recipe["servings"]
            for nutrient, value in recipe["targets"].items():
                ends = value if isinstance(value, Mapping) else {"min" if nutrient == "ratio" else "max": value}
                row |= {ENDS.get(f"{nutrient}_{end}", f"{nutrient}_{end}"): amount for end, amount in ends.items()}
        rows.append({key: str(value) for key, value in (row | ingredient).items()})
    return rows


def drawn_menu(seed: int, count: int, foods: Sequence[Mapping[str, str]],
               kinds: Sequence[str] = ("plain", "mixed")) -> pd.DataFrame:
    """A menu of random recipes, some of them impossible."""
    rng = random.Random(seed)
    rows = []
    for number in range(count):
        rows += long_rows(f"dish {number}", random_recipe(rng, foods, kind=kinds[number % len(kinds)]))
    return framed(rows)


def menu_of_dishes(dishes: Sequence[Dish]) -> pd.DataFrame:
    """A menu of the benchmarks' dishes: whole starts and bounds."""
    rows = []
    for dish in dishes:
        head = {"servings": str(dish.servings), "ratio": str(dish.ratio), "net_carbs": str(dish.net_carbs)}
        for food, *grams in zip(dish.foods, dish.start, dish.low, dish.high, strict=True):
            names = ("grams", "min", "max")
            rows.append({"recipe": dish.name, **head, "food": food,
                         **{name: f"{value:g}" for name, value in zip(names, grams, strict=True)}})
            head = {}
    return framed(rows)


def framed(rows: Sequence[Mapping[str, str]]) -> pd.DataFrame:
    """Rows as a frame of text, blank where a row lacks a column."""
    columns = list(dict.fromkeys(key for row in rows for key in row))
    return pd.DataFrame([{column: row.get(column, "") for column in columns} for row in rows], dtype=object)


def one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have every recipe of a menu solved by the per-recipe solver."""
    monkeypatch.setattr(menu_module._Menu, "stacked", lambda _, part, *more: ({}, np.zeros(part.count, dtype=bool), {}))
