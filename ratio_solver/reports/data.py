"""Outcomes as plain data, for JSON and CSV. Keys are a stable interface: added to, never renamed."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.faults import written_out
from ratio_solver.foods.comparing import COMPARED, differences, note_of
from ratio_solver.foods.content import content
from ratio_solver.foods.ends import Guaranteed, kind_of
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.yields import bundled_yields
from ratio_solver.recipes.cautions import in_a_cell
from ratio_solver.recipes.intervals import guaranteed_for, most_weights, taken_as_exact
from ratio_solver.recipes.notices import allergens_unknown
from ratio_solver.reports.figures import plain
from ratio_solver.reports.remedy_data import remedy_data

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food
    from ratio_solver.proposals.answer import Answer, Diagnosis, Proposal
    from ratio_solver.recipes.check import Check
    from ratio_solver.recipes.confidence import Confidence
    from ratio_solver.recipes.facts import Facts
    from ratio_solver.recipes.recipe import Recipe
    from ratio_solver.recipes.standing import LimitState, Weight

Data = dict[str, object]


def as_json(data: object) -> str:
    """JSON text, readable, without NaN or infinity."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)


def as_csv(rows: Iterable[Mapping[str, object]], columns: Sequence[str]) -> str:
    """CSV text with a header; cells that a spreadsheet would run are made harmless."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(map(harmless, columns))
    for row in rows:
        writer.writerow([harmless(row.get(column)) for column in columns])
    return text.getvalue()


def with_caution(rows: Iterable[Mapping[str, object]], columns: Sequence[str],
                 dish: Answer | Check) -> tuple[list[Data], tuple[str, ...]]:
    """Rows and columns of a CSV with warnings and caution in the last columns: a CSV has no room for a note."""
    told = {"warnings": "; ".join(dish.warnings), "caution": in_a_cell(dish.cautions)}
    return [{**row, **told} for row in rows], (*columns, "warnings", "caution")


_FORMULA = re.compile(r"(^|;)(?=[\s\"]*[=+\-@\uff1d\uff0b\uff0d\uff20])")
"""Where a spreadsheet may take what follows for a formula: at the start of a cell, or after a semicolon, at which it
may part the cells of a file. The signs count at full width too."""

_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?")


def harmless(cell: object) -> object:
    """A cell that no spreadsheet takes for a formula, on one line; numbers stay as they are.

    >>> harmless("=1+1"), harmless("salt;=1+1"), harmless(-2.5), harmless("-2.5"), harmless(None)
    ("'=1+1", "salt;'=1+1", -2.5, '-2.5', '')
    """
    if cell is None:
        return ""
    if not isinstance(cell, str) or _NUMBER.fullmatch(cell):
        return cell
    return _FORMULA.sub(r"\1'", written_out(cell))


def answer_data(answer: Answer) -> Data:
    """The outcome of `solve` in the keys of its JSON."""
    data: Data = {
        "title": answer.recipe.title,
        "servings": answer.recipe.servings,
        "outcome": answer.outcome,
        "prefer": answer.prefer,
    }
    if answer.outcome == "solved":
        data |= _proposal_data(answer)  # type: ignore[arg-type]
    else:
        data |= {"objective": None, "weights": [], "per_serving": None, "limits": [],
                 "diagnosis": diagnosis_data(answer.diagnosis)}  # type: ignore[union-attr]
    return data | {
        "policy": policy_data(answer.recipe, answer.guaranteed, grams_of(answer), answer.confidence),
        "warnings": list(answer.warnings),
        "cautions": list(answer.cautions),
    }


def _proposal_data(proposal: Proposal) -> Data:
    return {
        "objective": {
            "value": plain(proposal.objective.value),
            "unit": proposal.objective.unit,
            "bound": plain(proposal.objective.bound),
            "proven": proposal.objective.proven,
            "proof": proposal.objective.proof or None,
            "resolution": plain(proposal.objective.resolution),
            "ties_settled": proposal.objective.settled,
        },
        "exact": proposal.exact,
        "prices": "tangents of the confidence" if proposal.confidence else "linear programme",
        "weights": [weight_data(weight) for weight in proposal.weights],
        "per_serving": facts_data(proposal.facts, proposal.limits),
        "unknown": unknown_data(proposal.facts),
        "limits": [limit_data(state) for state in proposal.limits],
        "diagnosis": None,
        "certificate": {
            "shortfall": plain(proposal.certificate.shortfall),
            "gap": plain(proposal.certificate.gap),
        },
        "allergens": list(proposal.allergens),
        "allergens_unknown": unknown_allergens(proposal),
    }


def diagnosis_data(diagnosis: Diagnosis) -> Data:
    """Why there is no answer."""
    return {
        "conflict": [limit.name for limit in diagnosis.conflict],
        "steps": diagnosis.steps,
        "limits": [
            {"name": limit.name, "kind": limit.kind, "sense": limit.sense, "limit": plain(limit.bound),
             "unit": limit.unit}
            for limit in diagnosis.conflict
        ],
        **remedy_data(diagnosis),
    }


def check_data(found: Check) -> Data:
    """The outcome of `check`."""
    return {
        "title": found.recipe.title,
        "servings": found.recipe.servings,
        "kept": found.kept,
        "broken": [state.limit.name for state in found.broken],
        "weights": [weight_data(weight) for weight in found.weights],
        "per_serving": facts_data(found.facts, found.limits),
        "unknown": unknown_data(found.facts),
        "limits": [limit_data(state) for state in found.limits],
        "allergens": list(found.allergens),
        "allergens_unknown": unknown_allergens(found),
        "policy": policy_data(found.recipe, found.guaranteed, grams_of(found), found.confidence),
        "warnings": list(found.warnings),
        "cautions": list(found.cautions),
    }


def grams_of(dish: Answer | Check) -> tuple[Fraction, ...] | None:
    """Weights of a dish, g for the batch; None where there are none."""
    return tuple(weight.grams for weight in dish.weights) if hasattr(dish, "weights") else None


def unknown_allergens(dish: Proposal | Check) -> list[str]:
    """Labels of the used ingredients whose allergens are not known."""
    return list(allergens_unknown(dish.recipe, tuple(weight.grams for weight in dish.weights)))


WEIGHT_COLUMNS = ("ingredient", "food", "start", "grams", "min", "max", "at", "lowest", "highest",
                  "best_lowest", "best_highest", "step")


def weight_data(weight: Weight) -> Data:
    """One ingredient's weight, g for the batch."""
    return {
        "ingredient": weight.ingredient,
        "food": weight.food,
        "start": plain(weight.start),
        "grams": plain(weight.grams),
        "min": plain(weight.minimum),
        "max": plain(weight.maximum),
        "at": weight.at,
        "lowest": plain(weight.lowest),
        "highest": plain(weight.highest),
        "best_lowest": plain(weight.best_lowest),
        "best_highest": plain(weight.best_highest),
        "step": plain(weight.step),
        "measure": weight.measure or None,
    }


def facts_data(facts: Facts, limits: Sequence[LimitState] = ()) -> Data:
    """Facts of one serving; the ratio is null where there is neither protein nor carbohydrate."""
    bound = [s.limit.bound for s in limits if s.binding and s.limit.name == "ratio"]
    ratio = bound[0] if bound and facts.ratio is not None and abs(facts.ratio - bound[0]) < 1e-9 else facts.ratio
    return {
        "ratio": plain(ratio),
        **{column: plain(value) for column, value in facts.amounts.items()},
        "weight_g": plain(facts.weight),
        **({} if facts.cooked is None else {"cooked_weight_g": plain(facts.cooked)}),
    }


def unknown_data(facts: Facts) -> Data:
    """Nutrients whose amount is only the least it can be, and the ingredients without a figure."""
    return {column: list(labels) for column, labels in facts.unknown.items()}


LIMIT_COLUMNS = ("name", "kind", "sense", "limit", "actual", "slack", "unit", "binding", "price",
                 "holds_from", "holds_to", "price_looser", "looser_until")


def limit_data(state: LimitState) -> Data:
    """One limit as it stands."""
    return {
        "name": state.limit.name,
        "kind": state.limit.kind,
        "sense": state.limit.sense,
        "limit": plain(state.limit.bound),
        "actual": plain(state.actual),
        "slack": plain(state.slack),
        "unit": state.limit.unit,
        "binding": state.binding,
        "price": state.price,
        "holds_from": state.holds_from,
        "holds_to": state.holds_to,
        "price_looser": state.looser.price if state.looser else None,
        "looser_until": state.looser.until if state.looser else None,
    }


def policy_data(recipe: Recipe, guaranteed: Guaranteed, weights: Sequence[Fraction] | None = None,
                confidence: Confidence | None = None) -> Data:
    """The choices behind the figures; of a dish whose weights are not settled, for all that may be in it."""
    kind, grams = kind_of(guaranteed), most_weights(recipe) if weights is None else weights
    whose = confidence.kind if confidence else kind
    return {
        "ratio_formula": recipe.policy.ratio_formula,
        "left_out": dict(recipe.policy.left_out),
        "unknown_as_zero": list(recipe.policy.unknown_as_zero),
        "energy": recipe.policy.energy,
        "mct_energy": recipe.policy.mct_energy,
        "guaranteed": guaranteed_for(recipe, grams, kind) or False,
        "confidence": confidence.probability if confidence else None,
        "intervals": whose,
        "taken_as_exact": list(taken_as_exact(recipe, grams, whose)) if whose else [],
        "described": recipe.policy.described(),
    }


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
        "source": food.source,
    }
