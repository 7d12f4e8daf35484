"""Nutrient columns: their names, their units and how a cook calls them.

A nutrient column is written ``<name>_<unit>``: ``fat_g``, ``sodium_mg``, ``energy_kcal``. Four more
columns are derived for every food and can be targeted like any other: ``net_carbs_g``, the total
``carbs_g`` and ``energy_kcal`` (see `ratio_solver.foods.content`), and ``weight_g``, what is weighed.
"""

from __future__ import annotations

from collections.abc import Iterable

from ratio_solver.foods.substances import COLUMNS

UNITS = ("kcal", "mg", "ug", "g")
"""Units a nutrient column may end in; per 100 g edible part in the table."""

REQUIRED = ("food", "id", "carb_basis", "fat_g", "protein_g", "carbs_g", "fibre_g")
"""Columns that every composition table has (blank is unknown)."""

NEVER_UNKNOWN = ("fat_g", "protein_g", "carbs_g")
"""Without these no ratio can be stated: a blank is a fault."""

COUNTS_FOR = ("fat_g",)
"""Of these the less is the safer figure, where a table says only that there is less than so much: a ratio counts
them for itself, and protein and carbohydrate against."""

FAT = "fat_g"
PROTEIN = "protein_g"
CARBS = "carbs_g"
"""Total carbohydrate, as a target names it; in a table what its basis says."""
FIBRE = "fibre_g"
"""Unknown fibre counts as none, with a warning: net carbohydrate can only be lower. Total carbohydrate can be higher
where a table leaves fibre out, so there it counts as unknown."""
ALCOHOL = "alcohol_g"
WATER = "water_g"
SATURATED = "saturated_g"
SALT, SODIUM, MG_IN_SALT = "salt_g", "sodium_mg", 400
"""Salt is sodium times 2.5 (Regulation (EU) 1169/2011, Annex I): 1 g of it has 400 mg of sodium."""
MCT = "mct_g"
"""Medium-chain fat: as tabled, else caprylic and capric acid together."""
NET_CARBS = "net_carbs_g"
ENERGY = "energy_kcal"
WEIGHT = "weight_g"
"""Of a serving as weighed, before cooking takes water: 1 g of each gram, whatever a table has under this name."""

NONE_IF_BLANK = (*COLUMNS, ALCOHOL)
"""Columns about substances that ordinary foods lack: a blank stands for none.

For what may be left out of net carbohydrate that is the strict reading: nothing is left out unless the table says so.
"""

_SPOKEN = {"carbs": "total carbs", "net_carbs": "net carbs", "saturated": "saturated fat", "trans": "trans fat",
           "caprylic": "caprylic acid", "capric": "capric acid", "erucic": "erucic acid",
           "mct": "medium-chain fat", "imo": "isomalto-oligosaccharides",
           "vitamin_a": "vitamin A", "vitamin_d": "vitamin D"}


_ALSO = {
    "kcal": "energy_kcal", "calories": "energy_kcal", "carbohydrate": "carbs_g", "carbohydrates": "carbs_g",
    "total_carbohydrate": "carbs_g", "fiber": "fibre_g", "saturates": "saturated_g", "saturated_fats": "saturated_g",
    "sat_fat": "saturated_g", "sugar": "sugars_g", "proteins": "protein_g", "net_carbohydrate": "net_carbs_g",
}
"""Other words for nutrients, to their columns."""


def unit_of(column: str) -> str | None:
    """Unit of a nutrient column, or None where the name ends in none.

    >>> unit_of("sodium_mg"), unit_of("allergens")
    ('mg', None)
    """
    stem, _, unit = column.rpartition("_")
    return unit if stem and unit in UNITS else None


def stem_of(column: str) -> str:
    """Name of a nutrient column without its unit.

    >>> stem_of("net_carbs_g")
    'net_carbs'
    """
    return column.rpartition("_")[0] if unit_of(column) else column


def spoken(column: str) -> str:
    """A nutrient column as a cook says it.

    >>> spoken("net_carbs_g"), spoken("sodium_mg")
    ('net carbs', 'sodium')
    """
    stem = stem_of(column)
    return _SPOKEN.get(stem, stem.replace("_", " "))


def column_named(name: str, columns: Iterable[str]) -> str | None:
    """The column that a target's name means: the full name, the name without its unit, or what a cook calls it.

    Returns None where there is none, or where the bare name fits several.

    >>> column_named("sodium", ["fat_g", "sodium_mg"]), column_named("trans fat", ["fat_g", "trans_g"])
    ('sodium_mg', 'trans_g')
    >>> column_named("omega 3", ["Omega-3_g"])
    'Omega-3_g'
    """
    known = dict.fromkeys([*columns, NET_CARBS, ENERGY, WEIGHT])
    if name in known:
        return name
    wanted = key_of_name(name)
    whole = [column for column in known if key_of_name(column) == wanted]
    fitting = whole or [column for column in known if key_of_name(stem_of(column)) == wanted] \
        or [column for column in known if key_of_name(spoken(column)) == wanted] \
        or [column for column in known if column == _ALSO.get(wanted)]
    return fitting[0] if len(fitting) == 1 else None


def key_of_name(name: str) -> str:
    """A name by which columns are found: capitals, blanks and hyphens do not matter."""
    return name.strip().lower().replace(" ", "_").replace("-", "_")
