"""The cells of a row of the table, one function for each thing that says some of them.

`FOOD_CELLS` are the functions that fill the row of a food of the release, in order: each takes the food as the
release has it and the line of the selection that chose it, and gives the cells that it knows. To have more in the
table, add a function here and the names of its columns to `tools.composition.table.COLUMNS`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal

from tools.composition.intervals import food_interval, mean_interval
from tools.composition.measures import measures_cell
from tools.composition.release import Figure, ReleaseFood

Row = dict[str, str]
Choice = Mapping[str, str]

NUTRIENTS = {
    "fat_g": ("204",), "protein_g": ("203",), "carbs_g": ("205",), "fibre_g": ("291",), "energy_kcal": ("208",),
    "water_g": ("255",), "ash_g": ("207",), "sugars_g": ("269",), "starch_g": ("209",), "alcohol_g": ("221",),
    "saturated_g": ("606",), "trans_g": ("605",), "caprylic_g": ("609",), "capric_g": ("610",),
    "erucic_g": ("676", "630"), "cholesterol_mg": ("601",), "sodium_mg": ("307",), "potassium_mg": ("306",),
    "magnesium_mg": ("304",), "calcium_mg": ("301",), "phosphorus_mg": ("305",), "iron_mg": ("303",),
    "zinc_mg": ("309",), "selenium_ug": ("317",), "vitamin_d_ug": ("328",), "vitamin_a_ug": ("320",),
    "retinol_ug": ("319",),
}
"""Column of the table to the numbers of the release, the first that it has; per 100 g edible part.

Fatty acids by carbon atoms and double bonds: caprylic 8:0, capric 10:0; erucic 22:1 cis, else 22:1 undifferentiated.
Vitamin D is D2 + D3, vitamin A in retinol activity equivalents.
"""

WITH_INTERVAL = ("fat_g", "protein_g", "fibre_g", "water_g", "ash_g", "alcohol_g", "sugars_g", "saturated_g",
                 "sodium_mg")
"""Columns that have intervals."""

ENDS = ("low", "high", "lowest", "highest")
"""What the ends of an interval are called: of the mean, of the one food."""


def chosen_cells(food: ReleaseFood, choice: Choice) -> Row:
    """What the selection says, and where the figures are from."""
    return {
        "food": choice["food"], "id": choice["id"], "carb_basis": "by_difference", "allergens": choice["allergens"],
        "role": choice["role"], "source": f"USDA SR28, NDB {food.number}",
    }


def figure_cells(food: ReleaseFood, choice: Choice) -> Row:
    """The release's own figures, digit by digit, and its factor of nitrogen; blank where it gives none."""
    figures = {column: figure.value for column in NUTRIENTS if (figure := figure_of(food, column))}
    return figures | {"nitrogen_factor": food.nitrogen_factor}


def interval_cells(food: ReleaseFood, choice: Choice) -> Row:
    """The ends of the intervals of `WITH_INTERVAL`."""
    cells: Row = {}
    for column in WITH_INTERVAL:
        if figure := figure_of(food, column):
            most = Decimal(100) if column.endswith("_g") else None
            ends = (*mean_interval(figure, most), *food_interval(figure, most))
            cells |= {f"{column}_{end}": cell for end, cell in zip(ENDS, ends, strict=True)}
    return cells


def figure_of(food: ReleaseFood, column: str) -> Figure | None:
    """The figure of a column, or None where the release has none."""
    return next((food.figures[number] for number in NUTRIENTS[column] if number in food.figures), None)


def refuse_cells(food: ReleaseFood, choice: Choice) -> Row:
    """The share of the bought weight that is thrown away: as the selection says, else as the release does."""
    return {"refuse_percent": choice.get("refuse_percent") or food.refuse}


def measure_cells(food: ReleaseFood, choice: Choice) -> Row:
    """Household measures."""
    return {"measures": measures_cell(food.measures)}


FOOD_CELLS: tuple[Callable[[ReleaseFood, Choice], Row], ...] = (
    chosen_cells, figure_cells, interval_cells, refuse_cells, measure_cells,
)
"""In order; a later one wins."""
