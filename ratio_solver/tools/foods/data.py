"""Foods as plain data, for JSON and CSV."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ratio_solver.foods.comparing import COMPARED, differences, note_of
from ratio_solver.foods.content import content
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.yields import bundled_yields
from ratio_solver.output.json_csv import Data
from ratio_solver.output.numbers import plain

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food

FOOD_COLUMNS = ("food", "id", "role", "fat_g", "protein_g", "carbs_g", "fibre_g", "net_carbs_g", "energy_kcal",
                "source")


def compared_data(food: Food) -> Data:
    """What to know of a row beside its figures: a note, and the figures of other tables that differ by over a fifth."""
    return {"note": note_of(food) or None, "elsewhere": [
        {"table": difference.file.removesuffix(".csv"), "id": difference.food.id, "differ": list(difference.columns)}
        | {column: plain(content(difference.food, column, Policy())) for column in COMPARED}
        for difference in differences(food)
    ]}


def food_data(food: Food) -> Data:
    """A food with every figure the table has, per 100 g edible part."""
    return {
        "food": food.name,
        "id": food.id,
        "carb_basis": food.basis,
        **food.amounts,
        **{column: plain(content(food, column, Policy())) for column in ("net_carbs_g", "energy_kcal")},
        "low": dict(food.low),
        "high": dict(food.high),
        "lowest": dict(food.lowest),
        "highest": dict(food.highest),
        "refuse_percent": food.refuse,
        "price_per_kg": food.price,
        "allergens": None if food.allergens is None else list(food.allergens),
        "allergens_complete": not food.allergens_unknown,
        "most_per_serving": food.most,
        "most_because": food.most_because,
        "role": food.role,
        "measures": dict(food.measures),
        "yields": {way.prepared: {"yield": way.share, "fat_kept": way.fat_kept, "cooked_food": way.cooked_food,
                                  "source": way.source} for way in bundled_yields().of(food)},
        "also": list(food.also),
        "replaces": list(food.replaces),
        "allergens_dropped": list(food.dropped),
        "source": food.source,
    }
