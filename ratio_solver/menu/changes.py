"""Targets given for a whole menu, put in place of those of every recipe."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pandas as pd

from ratio_solver.menu.columns import BARE, MenuColumns
from ratio_solver.menu.one_recipe import cell_value
from ratio_solver.recipe.model import RATIO
from ratio_solver.recipe.targets import HIGHEST_AMOUNT, HIGHEST_RATIO, ratio_value

Changes = tuple[tuple[str, str, float | None], ...]
"""Nutrient, end ("min" or "max") and amount; None takes that end away where the other, as given, is past it."""


def changed_menu(
    frame: pd.DataFrame, columns: MenuColumns, changes: Changes, decimal_comma: bool = False
) -> tuple[pd.DataFrame, MenuColumns]:
    """The menu with ends of targets put in place of every recipe's own."""
    targets = dict(columns.targets)
    cells: dict[str, float] = {}
    for nutrient, end, amount in changes:
        if amount is not None:
            name = BARE.get((nutrient, end)) or targets.get((nutrient, end), f"{nutrient}_{end}")
            targets[nutrient, end] = name
            cells[name] = amount
    header = tuple(dict.fromkeys([*columns.header, *cells]))
    part = frame.copy()
    for name, amount in cells.items():
        part[name] = amount
    for nutrient, end, amount in changes:
        other = cells.get(targets.get((nutrient, "max" if end == "min" else "min"), ""))
        if amount is None and other is not None and (nutrient, end) in targets:
            cell_kept = partial(_kept, nutrient, end, other, decimal_comma)
            part[targets[nutrient, end]] = part[targets[nutrient, end]].astype(object).map(cell_kept)
    return part, replace(columns, header=header, targets=targets)


def _kept(nutrient: str, end: str, other: float, decimal_comma: bool, cell: object) -> object:
    """A cell with one end of a target, None where the other end is past it."""
    value = cell_value("", cell, decimal_comma)
    if nutrient == RATIO and isinstance(value, str):
        value = ratio_value(value)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return cell
    valid = 0 < value <= HIGHEST_RATIO if nutrient == RATIO else 0 <= value <= HIGHEST_AMOUNT
    return None if valid and (value < other if end == "max" else value > other) else cell
