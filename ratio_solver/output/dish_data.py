"""Outcomes as plain data, for JSON and CSV. Keys are a stable interface: added to, never renamed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.dish.confidence import guaranteed_for, most_weights, taken_as_exact
from ratio_solver.dish.status import ratio_reached
from ratio_solver.foods.ends import Guaranteed, kind_of
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import plain

if TYPE_CHECKING:
    from ratio_solver.dish.check import Check, DishAtWeights
    from ratio_solver.dish.confidence import Confidence
    from ratio_solver.dish.nutrition import Facts
    from ratio_solver.dish.status import LimitState, Weight
    from ratio_solver.recipe.model import Recipe
    from ratio_solver.solving.result import Answer


def dish_data(dish: Answer | Check, **told: object) -> Data:
    """What is told of a dish, between what it is called and how its figures are reckoned."""
    return {
        "title": dish.recipe.title,
        "servings": dish.recipe.servings,
        **told,
        "policy": policy_data(dish.recipe, dish.guaranteed, getattr(dish, "grams_of_each", None), dish.confidence),
        "warnings": list(dish.warnings),
        "cautions": list(dish.cautions),
    }


def standing_data(dish: DishAtWeights) -> Data:
    """How weights stand, what a serving of them is, and how each limit stands."""
    return {
        "weights": [weight_data(weight) for weight in dish.weights],
        "per_serving": facts_data(dish.facts, dish.limits),
        "unknown": {column: list(labels) for column, labels in dish.facts.unknown.items()},
        "limits": [limit_data(state) for state in dish.limits],
    }


def with_caution(columns: Sequence[str], rows: Iterable[Mapping[str, object]], dish: Answer | Check) -> Rows:
    """Columns and rows of a CSV with warnings and caution in the last columns: a CSV has no room for a note."""
    told = {"warnings": "; ".join(dish.warnings), "caution": in_a_cell(dish.cautions)}
    return (*columns, *told), [{**row, **told} for row in rows]


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
    return {**facts.as_floats, "ratio": plain(ratio_reached(facts.ratio, limits))}


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
        "described": recipe.reckoned,
    }
