"""The columns of a menu, which key of the recipe file each one is, and what its cells say."""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import TypeGuard

import numpy as np

from ratio_solver.errors import BadInput, Fault, shown
from ratio_solver.foods.csv_file import number
from ratio_solver.foods.nutrients import NET_CARBS, column_named, stem_of
from ratio_solver.foods.quantities import SHARE, quantity_of
from ratio_solver.foods.sizes import sensible
from ratio_solver.foods.substances import BY_KEY
from ratio_solver.foods.table import suggestion
from ratio_solver.menu.column_table import ColumnTable
from ratio_solver.recipe.model import RATIO, Recipe
from ratio_solver.recipe.read import INGREDIENT_KEYS, TOP_KEYS
from ratio_solver.recipe.targets import (
    in_column,
    override,
    ratio_value,
    share_meant,
    target_column,
)

NESTED = ("method", "foods", "targets", "policy", "ingredients", "parts", "proportions", "choose")
"""Keys of the recipe file that are tables or lists: a recipe that needs them stands in its own file."""

POLICY_COLUMNS = MappingProxyType({
    "ratio_formula": "policy.ratio_formula", "unknown_as_zero": "policy.unknown_as_zero",
    "policy_energy": "policy.energy", "mct_energy": "policy.mct_energy",
    **{f"left_out_{key}": f"policy.left_out.{key}" for key in BY_KEY},
})
"""Columns of a menu to the place in the recipe file that each is; a column `energy` would look like a target."""

TEXT_KEYS = ("title", "note", "food", "label", "part", "measure", "prepared", "drippings", "ratio_formula",
             "policy_energy")
"""Keys whose cells stay text even where they look like a number."""

BARE = MappingProxyType({(RATIO, "min"): "ratio", (NET_CARBS, "max"): "net_carbs"})
"""Columns of a target that take the other end away where they are past it, as the options of these names do."""

Changes = tuple[tuple[str, str, float | None], ...]
"""Nutrient, end ("min" or "max") and amount; None takes that end away where the other, as given, is past it."""


@dataclass(frozen=True)
class MenuColumns:
    """What each column of a menu stands for.

    Attributes
    ----------
    by_file : bool
        Whether a row is a recipe file, else an ingredient.
    header : tuple of str
    targets : mapping of (nutrient, "min" or "max") to column
        In the order of the columns; the nutrient is the key of a quantity: "ratio", a nutrient column, ...
    recipe : tuple of str
        Columns that belong to a recipe as a whole, targets left out.
    ingredient : tuple of str
    units : mapping of column to int
        Of the targets' columns: so many units of the nutrient in one of the column's (400 mg of sodium in 1 g of salt).
    """

    by_file: bool
    header: tuple[str, ...]
    targets: dict[tuple[str, str], str] = field(default_factory=dict)
    recipe: tuple[str, ...] = ()
    ingredient: tuple[str, ...] = ()
    units: dict[str, int] = field(default_factory=dict)

    @property
    def of_recipe(self) -> tuple[str, ...]:
        """Columns whose cells may stand on a recipe's first row only; the name is on every row."""
        return tuple(name for name in (*self.recipe, *self.targets.values()) if name != "recipe")


def menu_columns(header: Sequence[str], nutrients: Sequence[str], source: str = "menu",
                 place: Callable[[int, int], str] = lambda line, column: f"line {line}") -> MenuColumns:
    """Tell the columns of a menu apart.

    Parameters
    ----------
    header : sequence of str
        Names of the columns; empty names are passed over.
    nutrients : sequence of str
        Nutrient columns of the composition table.
    source : str
        The file, for faults.
    place : callable
        What faults call a cell, by its line and column, counted from 1; 0 is the whole line.

    Raises
    ------
    BadInput
        With every column that is unknown, repeated or missing.
    """
    faults: list[Fault] = []
    names = [name for name in header if name]

    def fault(name: str, expected: str) -> None:
        where = place(1, header.index(name) + 1 if name else 0)
        faults.append(Fault(source, where, shown(name) if name else "", expected))

    by_file = "file" in names
    needed, hint = ["recipe", "servings", "food", "grams"], " (or file, for a menu of recipe files)"
    recipe_keys = ["recipe", *(key for key in TOP_KEYS if key not in NESTED), *POLICY_COLUMNS]
    ingredient_keys = list(INGREDIENT_KEYS)
    if by_file:
        needed, hint = ["file"], ""
        recipe_keys, ingredient_keys = ["recipe", "file", "servings", "title"], []
    targets: dict[tuple[str, str], str] = {}
    units: dict[str, int] = {}
    for name in names:
        if name in recipe_keys or name in ingredient_keys:
            continue
        meant = target_column(name, nutrients)
        if meant is None:
            fault(name, _no_column(name, by_file, [*recipe_keys, *ingredient_keys], nutrients))
            continue
        *limited, units[name] = meant
        key = limited[0], limited[1]
        if key in targets:
            fault(name, f"expected one of {targets[key]} and {name}")
        targets.setdefault(key, name)
    missing = [name for name in needed if name not in names]
    if missing:
        fault("", f"expected the columns {', '.join(missing)}{hint}")
    for name in dict.fromkeys(names):
        if names.count(name) > 1:
            fault(name, "expected each column once")
    if faults:
        raise BadInput(faults)
    return MenuColumns(by_file, tuple(header), targets, tuple(name for name in names if name in recipe_keys),
                       tuple(name for name in names if name in ingredient_keys), units)


def _no_column(name: str, by_file: bool, keys: Sequence[str], nutrients: Sequence[str]) -> str:
    """What to say of a name that is no column of a menu."""
    bare = column_named(name, nutrients)
    if bare is not None:
        return f"expected {stem_of(bare)}_min or {stem_of(bare)}_max"
    if name in NESTED:
        return "stands in a recipe file: name that in the column file"
    if by_file and name in INGREDIENT_KEYS:
        return "expected either file or food, not both: ingredients stand in the recipe file"
    known = [*keys, RATIO, "net_carbs", *(f"{stem_of(c)}_{end}" for c in nutrients for end in ("min", "max"))]
    return f"is no column of a menu{suggestion(name, known)}"


def cell_value(key: str, cell: object, decimal_comma: bool) -> object:
    """A cell as the recipe file would have it: a number where it reads as one, else text; None where blank.

    With decimal commas a text such as 1.500 is no number: it may mean 1500 or 1.5.

    >>> cell_value("grams", "1,5", True), cell_value("grams", " 40 ", True), cell_value("label", "40", True)
    (1.5, 40, '40')
    """
    if cell is None or (isinstance(cell, float) and math.isnan(cell)):
        return None
    if isinstance(cell, str):
        text = cell.strip()
        value = number(text, decimal_comma) if text and key not in TEXT_KEYS else None
        if value is None:
            return text or None
        return int(value) if value.is_integer() and abs(value) < 2**53 else value
    plain = cell.item() if hasattr(cell, "item") else cell
    return int(plain) if isinstance(plain, float) and plain.is_integer() else plain


def target_value(nutrient: str, cell: object, decimal_comma: bool, unit: int = 1) -> object:
    """A target's cell: a number in the nutrient's unit, of a ratio such as 5:2 too; else the text; None where blank.

    `unit` is that of its column (`MenuColumns.units`).
    """
    value = cell_value("", cell, decimal_comma)
    if isinstance(value, int | float):
        return in_column(value, unit)
    if nutrient == RATIO and isinstance(value, str):
        return ratio_value(value) or value
    if isinstance(value, str) and quantity_of(nutrient).unit == SHARE:
        return share_meant(nutrient, value.replace(",", ".") if decimal_comma else value)[1]
    return value


def is_number(value: object, least: float, most: float, above: bool = False) -> TypeGuard[float]:
    """Whether a value is a number within [least, most], or (least, most] with `above`."""
    return isinstance(value, int | float) and not isinstance(value, bool) and least <= value <= most \
        and sensible(value) and not (above and value == least)


def target_span(nutrient: str) -> tuple[float, float, bool]:
    """What a target on a quantity lies within: least, most, and whether the least itself is none."""
    return 0.0, quantity_of(nutrient).highest, nutrient == RATIO


def target_changes(nutrients: Sequence[str], *, ratio: str | None = None, net_carbs: float | None = None,
                   targets: Sequence[str] = ()) -> Changes:
    """What targets given for a whole menu change.

    Parameters
    ----------
    ratio, net_carbs, targets
        As in `ratio_solver.recipe.targets.override`.

    Raises
    ------
    BadInput
        With every one that cannot be read.
    """
    read = override(Recipe("", 1, ()), nutrients, ratio=ratio, net_carbs=net_carbs, targets=targets)
    replaced = {RATIO: ratio is not None, NET_CARBS: net_carbs is not None}
    return tuple(
        (target.nutrient, end, amount)
        for target in read.targets for end, amount in (("min", target.minimum), ("max", target.maximum))
        if amount is not None or replaced.get(target.nutrient, False)
    )


def changed_menu(table: ColumnTable, columns: MenuColumns, changes: Changes,
                 decimal_comma: bool = False) -> tuple[ColumnTable, MenuColumns]:
    """The menu with ends of targets put in place of every recipe's own."""
    targets = dict(columns.targets)
    cells: dict[str, float] = {}
    for nutrient, end, amount in changes:
        if amount is not None:
            own = targets.get((nutrient, end), "")
            name = BARE.get((nutrient, end)) or (own if columns.units.get(own) == 1 else f"{nutrient}_{end}")
            targets[nutrient, end] = name
            cells[name] = amount
    changed = {name: np.full(len(table), amount, dtype=object) for name, amount in cells.items()}
    for nutrient, end, amount in changes:
        other = cells.get(targets.get((nutrient, "max" if end == "min" else "min"), ""))
        if amount is None and other is not None and (nutrient, end) in targets:
            name = targets[nutrient, end]
            past = operator.lt if end == "max" else operator.gt
            values = (target_value(nutrient, cell, decimal_comma) for cell in table[name])
            changed[name] = np.array([
                None if is_number(value, *target_span(nutrient)) and past(value, other) else cell
                for value, cell in zip(values, table[name], strict=True)], dtype=object)
    header = tuple(dict.fromkeys([*columns.header, *cells]))
    return table.with_columns(**changed), replace(columns, header=header, targets=targets)
