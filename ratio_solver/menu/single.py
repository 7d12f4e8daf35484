"""One recipe of a menu by the single path: the same rows of the same tables as the arrays give."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from ratio_solver.dish.cautions import is_strong
from ratio_solver.dish.constraints import Limit
from ratio_solver.dish.nutrition import Facts
from ratio_solver.dish.status import LimitState
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.figures import allergens_cell, printed
from ratio_solver.menu.results import CAUTIONS, fact_columns, reckoned
from ratio_solver.recipe.model import RATIO
from ratio_solver.solving.result import Answer, Diagnosis, Impossible, Proposal

Cell = object
RowData = Mapping[str, Cell]


def single_rows(name: str, answer: Answer, foods: FoodTable) -> tuple[list[RowData], RowData, list[RowData]]:
    """Rows of the weights, servings and limits tables for an answer."""
    if isinstance(answer, Impossible):
        return [], _impossible(name, answer), []
    assert isinstance(answer, Proposal)
    weights: list[RowData] = [
        {
            "recipe": name, "ingredient": item.ingredient, "food": item.food, "start": float(item.start),
            "grams": printed(item.grams), "min": None if item.minimum is None else float(item.minimum),
            "max": None if item.maximum is None else float(item.maximum), "at": item.at or "",
        }
        for item in answer.weights
    ]
    limits = [_limit(name, state) for state in answer.limits if state.limit.kind != "ingredient"]
    return weights, _solved(name, answer, foods), limits


def _limit(name: str, state: LimitState) -> RowData:
    limit = state.limit
    return {
        "recipe": name, "name": limit.name, "kind": limit.kind, "sense": limit.sense, "limit": float(limit.bound),
        "actual": float(limit.bound) if state.binding else printed(state.actual), "slack": printed(state.slack),
        "unit": limit.unit, "binding": state.binding, "price": printed(state.price),
    }


def _solved(name: str, answer: Proposal, foods: FoodTable) -> RowData:
    facts = answer.facts
    return {
        "recipe": name, "outcome": "solved", "ratio": _ratio(facts, answer.limits),
        **{column: printed(facts.amounts.get(column)) for column in fact_columns(foods)},
        "weight_g": printed(facts.weight), "objective": printed(answer.objective.value),
        "unit": answer.objective.unit, "proven": answer.objective.proven, "message": "",
        "at_least": "; ".join(column for column in fact_columns(foods) if column in facts.unknown),
        "allergens": allergens_cell(answer.allergens, _unknown_allergens(answer)),
        "warnings": "; ".join(answer.warnings),
        "reckoned": reckoned(answer.recipe.policy), "caution": CAUTIONS[is_strong(answer.cautions)],
    }


def _unknown_allergens(answer: Proposal) -> list[str]:
    """Ingredients that are used and whose allergens nobody has said."""
    return [weight.ingredient for item, weight in zip(answer.recipe.ingredients, answer.weights, strict=True)
            if weight.grams and item.food.allergens_unknown]


def _ratio(facts: Facts, limits: Sequence[LimitState]) -> float | None:
    """The ratio reached; the bound itself where that is binding and met."""
    bounds = [state.limit.bound for state in limits if state.binding and state.limit.nutrient == RATIO]
    if bounds and facts.ratio is not None and abs(facts.ratio - bounds[0]) < 1e-9:
        return printed(bounds[0])
    return printed(facts.ratio)


def _impossible(name: str, answer: Impossible) -> RowData:
    return {
        "recipe": name, "outcome": "impossible", "message": impossible_message(answer),
        "warnings": "; ".join(answer.warnings),
        "reckoned": reckoned(answer.recipe.policy), "caution": CAUTIONS[is_strong(answer.cautions)],
    }


def impossible_message(answer: Impossible) -> str:
    """The conflict and, where they are known, the first change that cures it or those that do so together."""
    diagnosis = answer.diagnosis
    if diagnosis.empty:
        return _empty_message(diagnosis)
    on_steps = " by weights on the steps" if diagnosis.steps else ""
    conflict = "; ".join(_limit_words(limit, limit.bound) for limit in diagnosis.conflict)
    together = " together" if len(diagnosis.conflict) > 1 else ""
    return f"cannot be kept{together}{on_steps}: {conflict}{_cure_words(diagnosis)}"


def _empty_message(diagnosis: Diagnosis) -> str:
    """That only an empty dish would do, or be the best, and what a dish that is not empty can reach."""
    conflict = "; ".join(_limit_words(limit, limit.bound) for limit in diagnosis.conflict)
    said = f"no dish but an empty one, which has no ratio: {conflict}" if conflict else \
        "the best weights are those of an empty dish, which has no ratio"
    best = diagnosis.best_ratio
    reach = "" if best is None else f". Best ratio of a dish that is not empty: {float(best):.12g}:1"
    return f"{said}{reach}. A least weight of the batch is missing"


def _cure_words(diagnosis: Diagnosis) -> str:
    if diagnosis.repairs:
        first = diagnosis.repairs[0]
        return f". First change that cures it: {_limit_words(first.limit, first.to)}"
    if diagnosis.joint_repair:
        changes = "; ".join(_limit_words(repair.limit, repair.to) for repair in diagnosis.joint_repair)
        return f". {'These together cure' if len(diagnosis.joint_repair) > 1 else 'This cures'} it: {changes}"
    return ""


def _limit_words(limit: Limit, bound: Fraction) -> str:
    unit = limit.unit if limit.unit == ":1" else f" {limit.unit}"
    return f"{limit.name} {limit.sense} {float(bound):.12g}{unit}"
