"""The cells of a row of the table, one function for each thing that says some of them.

`FOOD_CELLS` are the functions that fill the row of a food of the release, in order: each takes the food as the
release has it and the line of the selection that chose it, and gives the cells that it knows. To have more in the
table, add a function here and the names of its columns to `tools.composition.table.COLUMNS`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from tools.composition.measures import measures_cell
from tools.composition.release import Figure, ReleaseFood

Row = dict[str, str]
Choice = Mapping[str, str]

NUTRIENTS = {
    "204": "fat_g", "203": "protein_g", "205": "carbs_g", "291": "fibre_g", "208": "energy_kcal",
    "255": "water_g", "269": "sugars_g", "221": "alcohol_g", "606": "saturated_g", "307": "sodium_mg",
    "306": "potassium_mg", "304": "magnesium_mg", "301": "calcium_mg",
}
"""Nutrient number of the release to column of the table, per 100 g edible part."""

WITH_INTERVAL = ("fat_g", "protein_g", "fibre_g")
"""Columns whose standard errors are turned into a low and a high."""

Z_95 = Decimal("1.96")
"""Standard errors to either side of the mean within which it lies in 95 of 100 samples (normal)."""

FEWEST_POINTS = 3
"""A standard error from fewer data points than this says nothing."""


def chosen_cells(food: ReleaseFood, choice: Choice) -> Row:
    """What the selection says, and where the figures are from."""
    return {
        "food": choice["food"], "id": choice["id"], "carb_basis": "by_difference", "allergens": choice["allergens"],
        "role": choice["role"], "source": f"USDA SR28, NDB {food.number}",
    }


def figure_cells(food: ReleaseFood, choice: Choice) -> Row:
    """The release's own figures, digit by digit; blank where it gives none."""
    return {column: food.figures[number].value for number, column in NUTRIENTS.items() if number in food.figures}


def interval_cells(food: ReleaseFood, choice: Choice) -> Row:
    """The ends of the intervals of `WITH_INTERVAL`."""
    cells: Row = {}
    for number, column in NUTRIENTS.items():
        if column in WITH_INTERVAL and number in food.figures:
            cells[f"{column}_low"], cells[f"{column}_high"] = interval(food.figures[number])
    return cells


def refuse_cells(food: ReleaseFood, choice: Choice) -> Row:
    """The share of the bought weight that is thrown away."""
    return {"refuse_percent": food.refuse}


def measure_cells(food: ReleaseFood, choice: Choice) -> Row:
    """Household measures."""
    return {"measures": measures_cell(food.measures)}


FOOD_CELLS: tuple[Callable[[ReleaseFood, Choice], Row], ...] = (
    chosen_cells, figure_cells, interval_cells, refuse_cells, measure_cells,
)
"""In order; a later one wins."""


def interval(figure: Figure) -> tuple[str, str]:
    """Where the mean lies with 95 % confidence: 1.96 standard errors either way, within 0 and 100 g.

    Rounded outward to 3 decimals; two empty texts where the release gives no usable standard error.

    >>> interval(Figure("81.11", 580, "0.065"))
    ('80.982', '81.238')
    """
    if not figure.error or figure.points < FEWEST_POINTS:
        return "", ""
    value, reach = Decimal(figure.value), Z_95 * Decimal(figure.error)
    low, high = max(value - reach, Decimal(0)), min(value + reach, Decimal(100))
    step = Decimal("0.001")
    return str(low.quantize(step, ROUND_FLOOR)), str(high.quantize(step, ROUND_CEILING))
