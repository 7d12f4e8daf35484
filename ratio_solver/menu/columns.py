"""The columns of a menu: which key of the recipe file each one is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from ratio_solver.errors import BadInput, Fault, shown
from ratio_solver.foods.nutrients import NET_CARBS, column_named, stem_of
from ratio_solver.foods.substances import BY_KEY
from ratio_solver.foods.table import suggestion
from ratio_solver.recipe.model import RATIO, Recipe
from ratio_solver.recipe.read import INGREDIENT_KEYS, TOP_KEYS
from ratio_solver.recipe.targets import override, target_column

LONG, BY_FILE = "long", "by file"
"""The two forms of a menu: a row an ingredient, or a row a recipe file."""

NESTED = ("method", "foods", "targets", "policy", "ingredients", "parts", "proportions", "choose")
"""Keys of the recipe file that are tables or lists: a recipe that needs them stands in its own file."""

POLICY_KEYS = {"ratio_formula": "ratio_formula", "unknown_as_zero": "unknown_as_zero", "policy_energy": "energy",
               "mct_energy": "mct_energy"}
"""Columns of a menu to the key of the policy that each is; a column `energy` would look like a target."""
LEFT_OUT = tuple(BY_KEY)

BARE = {(RATIO, "min"): "ratio", (NET_CARBS, "max"): "net_carbs"}
"""Columns of a target that take the other end away where they are past it, as the options of these names do."""


@dataclass(frozen=True)
class MenuColumns:
    """What each column of a menu stands for.

    Attributes
    ----------
    form : {"long", "by file"}
    header : tuple of str
    targets : mapping of (nutrient, "min" or "max") to column
        In the order of the columns; the nutrient is "ratio" or a nutrient column.
    recipe : tuple of str
        Columns that belong to a recipe as a whole, targets left out.
    ingredient : tuple of str
    """

    form: str
    header: tuple[str, ...]
    targets: dict[tuple[str, str], str] = field(default_factory=dict)
    recipe: tuple[str, ...] = ()
    ingredient: tuple[str, ...] = ()

    @property
    def of_recipe(self) -> tuple[str, ...]:
        """Columns whose cells may stand on a recipe's first row only."""
        return (*self.recipe, *self.targets.values())

    def column_of(self, nutrient: str, end: str) -> str:
        """The column of one end of a target, as the menu calls it; empty where there is none."""
        return self.targets.get((nutrient, end), "")


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

    form = BY_FILE if "file" in names else LONG
    top = [key for key in TOP_KEYS if key not in NESTED]
    recipe_keys = ["recipe", *top, *POLICY_KEYS, *(f"left_out_{key}" for key in LEFT_OUT)]
    if form == BY_FILE:
        recipe_keys = ["recipe", "file", "servings", "title"]
    ingredient_keys = INGREDIENT_KEYS if form == LONG else ()
    targets: dict[tuple[str, str], str] = {}
    for name in names:
        if name in recipe_keys or name in ingredient_keys:
            continue
        meant = target_column(name, nutrients)
        if meant is None:
            fault(name, _unknown(name, form, recipe_keys, ingredient_keys, nutrients))
        elif meant in targets:
            fault(name, f"expected one of {targets[meant]} and {name}")
        else:
            targets[meant] = name
    needed = ("file",) if form == BY_FILE else ("recipe", "servings", "food", "grams")
    missing = [name for name in needed if name not in names]
    if missing:
        fault("", f"expected the columns {', '.join(missing)}"
              + (" (or file, for a menu of recipe files)" if form == LONG else ""))
    for name in dict.fromkeys(names):
        if names.count(name) > 1:
            fault(name, "expected each column once")
    if faults:
        raise BadInput(faults)
    return MenuColumns(form, tuple(header), targets, tuple(n for n in names if n in recipe_keys),
                       tuple(n for n in names if n in ingredient_keys and n not in recipe_keys))


def _unknown(name: str, form: str, recipe_keys: Sequence[str], ingredient_keys: Sequence[str],
             nutrients: Sequence[str]) -> str:
    bare = column_named(name, nutrients)
    if bare is not None:
        return f"expected {stem_of(bare)}_min or {stem_of(bare)}_max"
    if name in NESTED:
        return "stands in a recipe file: name that in the column file"
    if form == BY_FILE and name in INGREDIENT_KEYS:
        return "expected either file or food, not both: ingredients stand in the recipe file"
    known = [*recipe_keys, *ingredient_keys, RATIO, "net_carbs",
             *(f"{stem_of(c)}_{end}" for c in nutrients for end in ("min", "max"))]
    return f"is no column of a menu{suggestion(name, known)}"


def target_changes(nutrients: Sequence[str], *, ratio: str | None = None, net_carbs: float | None = None,
                   targets: Sequence[str] = ()) -> tuple[tuple[str, str, float | None], ...]:
    """What targets given for a whole menu change: (nutrient, end, amount).

    Without an amount: that end no longer holds where the other is past it, as in `override`.

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
