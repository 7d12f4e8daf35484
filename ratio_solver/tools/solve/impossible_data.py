"""A diagnosis as plain data: keys for JSON, lines for CSV."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ratio_solver.output.numbers import plain
from ratio_solver.tools.solve.relaxation_words import asked, empty_sentence, sentence, told

if TYPE_CHECKING:
    from ratio_solver.dish.constraints import Limit
    from ratio_solver.solving.result import CuringFat, Diagnosis, Repair

REMEDY_COLUMNS = ("cures", "limit", "kind", "sense", "from", "to", "unit", "words")


def remedy_data(diagnosis: Diagnosis) -> dict[str, object]:
    """What would cure, beside the conflict itself."""
    return {
        "sentence": sentence(diagnosis),
        "proven": diagnosis.proven,
        "minimal": diagnosis.minimal,
        "empty_dish": diagnosis.empty,
        "repairs": [repair_data(repair) for repair in diagnosis.repairs],
        "stuck": [limit.name for limit in diagnosis.stuck],
        "joint_repair": [repair_data(repair) for repair in diagnosis.joint_repair],
        "best_ratio": plain(diagnosis.best_ratio),
        "least_net_carbs": plain(diagnosis.least_net_carbs),
        "stepped": [{"ingredient": one.ingredient, "grams": plain(one.grams), "piece": one.piece}
                    for one in diagnosis.stepped],
        "fats": None if diagnosis.fats is None else [addition_data(addition) for addition in diagnosis.fats],
    }


def repair_data(repair: Repair) -> dict[str, object]:
    """One limit moved; `from` and `to` as they are written in the recipe file."""
    limit = repair.limit
    return {
        "limit": limit.name, "kind": limit.kind, "sense": limit.sense,
        "from": plain(limit.bound), "to": plain(repair.to), "unit": limit.unit,
        "relative": plain(repair.relative) if limit.bound else None,
        "words": told(repair),
    }


def addition_data(addition: CuringFat) -> dict[str, object]:
    """One food added, g for the batch."""
    food = addition.food
    return {"food": food.name, "id": food.id, "grams": plain(addition.grams),
            "allergens": None if food.allergens is None else list(food.allergens),
            "allergens_complete": not food.allergens_unknown}


def remedy_rows(diagnosis: Diagnosis) -> Iterator[dict[str, object]]:
    """A line for each thing that cures alone or together with others, and for each limit that does not."""
    for cures, repairs in (("alone", diagnosis.repairs), ("together", diagnosis.joint_repair)):
        for repair in repairs:
            yield {**repair_data(repair), "cures": cures}
    for addition in diagnosis.fats or ():
        yield {"cures": "alone", "limit": addition.food.name, "kind": "added", "sense": ">=", "from": 0.0,
               "to": plain(addition.grams), "unit": "g",
               "words": f"add at least {float(addition.grams):g} g of {addition.food.name}"}
    if diagnosis.empty:
        yield {"cures": "not known", "kind": "empty dish",
               "words": f"{sentence(diagnosis)} {empty_sentence(diagnosis)}"}
    for limit in diagnosis.stuck:
        yield {"cures": "not alone", **_limit(limit)}


def _limit(limit: Limit) -> dict[str, object]:
    return {"limit": limit.name, "kind": limit.kind, "sense": limit.sense, "from": plain(limit.bound), "to": None,
            "unit": limit.unit, "words": asked(limit)}
