"""What came out, in the words and figures of the commands: nothing is left to reckon for the page that shows it.

Everything here is text and plain numbers, made in the process that solves and sent to the one that serves.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from ratio_solver.dish.cautions import in_a_cell, on_screen
from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.dish.notices import allergens_of_food
from ratio_solver.dish.status import LimitState, Weight
from ratio_solver.exact import ZERO
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.table import FoodTable
from ratio_solver.output.blocks import allergens_of, batch_line, limit_words
from ratio_solver.output.dish_text import (
    actual_text,
    best_line,
    could_be,
    fact,
    is_left_out,
    limits_told,
    loosening,
    pieces_of,
    slack_text,
    weight_now,
)
from ratio_solver.output.numbers import plain, visible, weight
from ratio_solver.output.side_by_side import ratio_cell
from ratio_solver.page.edits import Change, food_added, moved
from ratio_solver.page.history import State
from ratio_solver.page.sheet import shape_of, typed
from ratio_solver.recipe.model import RATIO, Recipe
from ratio_solver.recipe.read import recipe_of_text
from ratio_solver.solving.result import Diagnosis, Impossible, Proposal, Repair
from ratio_solver.solving.solve import solve
from ratio_solver.tools.adjust.compute import Adjustment, adjust
from ratio_solver.tools.adjust.report import cost_words, plan_line, remedy_words
from ratio_solver.tools.card.content import serving_figures
from ratio_solver.tools.solve.impossible import CHANGES, conflict_heading, proof, reach_heading, reached, share_moved
from ratio_solver.tools.solve.relaxation_words import empty_sentence, sentence, steps_sentence, told
from ratio_solver.tools.solve.report import PREFERRED, objective_line, serving_at_start


@dataclass(frozen=True)
class Figure:
    """What came out for one ingredient.

    Attributes
    ----------
    grams : str
        What goes on the scale.
    exact : str
        The same with all its decimals, as it is typed.
    value, lowest, highest : float or None
        For the track, g.
    change, remark, could, measure, plan, bowl, to_add : str
        Empty where there is nothing to say.
    """

    grams: str
    exact: str
    value: float
    lowest: float | None
    highest: float | None
    change: str = ""
    remark: str = ""
    could: str = ""
    measure: str = ""
    plan: str = ""
    bowl: str = ""
    to_add: str = ""


@dataclass(frozen=True)
class LimitLine:
    """How a limit stands.

    Attributes
    ----------
    number : int
        In the recipe's `limits_of`; -1 where the recipe has it no longer.
    name, allowed, actual, slack : str
    state : {"binding", "loose", "broken", "in conflict", ""}
    looser, saves : str
        By how much to loosen it, and what that saves.
    place : int
        Of an ingredient's bound: the ingredient; else -1.
    """

    number: int
    name: str
    allowed: str
    actual: str = ""
    slack: str = ""
    state: str = ""
    looser: str = ""
    saves: str = ""
    place: int = -1


@dataclass(frozen=True)
class Gauge:
    """The ratio or the net carbs of a serving, and how far they are from what is asked."""

    value: str
    spare: str
    state: str


@dataclass(frozen=True)
class Cure:
    """A change that cures, in words, with what it changes in the file."""

    words: str
    cost: str
    changes: tuple[Change, ...]
    prescribed: bool = False


@dataclass(frozen=True)
class Answer:
    """What came out of a state.

    Attributes
    ----------
    outcome : {"solved", "impossible"}
        The latter where there are no weights, be it that none were found in the time; the headline says which.
    shape : tuple
        Labels and limits that it was found for, as `Sheet.shape` has them.
    headline : str
    said : tuple of str
    figures : tuple of Figure, one per ingredient; none where there are no weights
    gauges : mapping of "ratio" and "net_carbs_g" to Gauge
    limits : tuple of LimitLine
        From binding to loose; of an impossible dish in the recipe's order.
    facts : tuple of mapping
        Of a serving, as a card has them.
    """

    outcome: str
    shape: tuple[object, ...]
    headline: str
    said: tuple[str, ...]
    figures: tuple[Figure, ...] = ()
    gauges: Mapping[str, Gauge] = ()  # type: ignore[assignment]
    limits: tuple[LimitLine, ...] = ()
    facts: tuple[Mapping[str, object], ...] = ()
    allergens: str = ""
    saves_in: str = ""
    formula: str = ""
    reckoned: str = ""
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    short_caution: str = ""
    conflict_heading: str = ""
    cures_heading: str = ""
    cures: tuple[Cure, ...] = ()
    together: bool = False
    stuck: tuple[str, ...] = ()
    fats: tuple[Cure, ...] = ()
    reach_heading: str = ""
    reach: tuple[str, ...] = ()
    ways: tuple[Cure, ...] = ()


SAVED = {"g moved": "g fewer moved"}

ALL_FIXED = "Every ingredient is fixed: let those move that may, each under its line."


def answer_of(state: State, foods: FoodTable, source: str, folder: str) -> Answer:
    """Solve a state of a dish; around what is in the bowl, where something is.

    Raises
    ------
    BadInput
        With every fault of the recipe, or of what is in the bowl.
    """
    recipe = recipe_of_text(state.text, foods, source, folder)
    if state.bowl:
        found = adjusted(recipe, state)
        if isinstance(found.result, Proposal):
            headline = f"adjusted: {remedy_words(found.taken, found)}" if found.taken else "adjusted"
            return _solved(found.result, recipe, headline, _bowl_figures(found, found.result),
                           (plan_line(found.result),))
        return _bowl_impossible(found, found.result)
    answer = solve(recipe, foods=foods)
    if isinstance(answer, Proposal):
        return _solved(answer, recipe, "solved", tuple(map(_figure, answer.weights)), tuple(_said(answer)))
    return _impossible(answer, tomllib.loads(state.text), foods.with_tables(recipe.tables).columns)


def adjusted(recipe: Recipe, state: State) -> Adjustment:
    """The dish around what is in the bowl, the way out taken that the state names."""
    return adjust(recipe, {one.label: one.grams for one in state.bowl if not one.more},
                  {one.label: one.grams for one in state.bowl if one.more}).take(state.take)


# --- with weights ---------------------------------------------------------------------------------------------------


def _said(dish: Proposal) -> Iterator[str]:
    """The servings, what was minimised, and whether other weights are as good."""
    batch = batch_line(dish.recipe, dish.facts, serving_at_start(dish.recipe)).replace("->", "→")
    yield f"{batch}, {PREFERRED[dish.prefer]}"
    yield objective_line(dish.objective)
    if best := best_line(dish.weights, dish.exact):
        yield best


def _solved(dish: Proposal, recipe: Recipe, headline: str, figures: tuple[Figure, ...], said: tuple[str, ...]
            ) -> Answer:
    limits = limits_of(recipe)
    numbers = {limit.identity: number for number, limit in enumerate(limits)}
    return Answer(
        "solved", shape_of(recipe, limits), headline, said, figures,
        {RATIO: Gauge(ratio_cell(dish), *_spare(dish.limits, RATIO, ">=")),
         NET_CARBS: Gauge(fact(dish.facts, NET_CARBS, dish.limits), *_spare(dish.limits, NET_CARBS, "<="))},
        tuple(_limit_line(state, numbers.get(state.limit.identity, -1)) for state in limits_told(dish.limits)),
        tuple(serving_figures(dish)), allergens_of(dish), SAVED.get(dish.objective.unit, dish.objective.unit),
        **_beside(dish),
    )


def _beside(dish: Proposal | Impossible) -> dict[str, Any]:
    """What is said beside the figures of any answer."""
    return {"formula": dish.recipe.policy.formula, "reckoned": dish.recipe.reckoned, "warnings": dish.warnings,
            "cautions": on_screen(dish.cautions), "short_caution": in_a_cell(dish.cautions)}


def _figure(item: Weight) -> Figure:
    return Figure(weight_now(item), typed(item.grams), float(item.grams), plain(item.lowest), plain(item.highest),
                  _signed(item.change), _remark(item), could_be(item), item.measure)


def _signed(change: Fraction) -> str:
    return f"{'+' if change > 0 else '−'}{weight(abs(change))}" if change else ""


def _remark(item: Weight) -> str:
    bound = "" if item.at in (None, "fixed") else "left out" if is_left_out(item) else f"at its {item.at}"
    return ", ".join(filter(None, (pieces_of(item), bound)))


def _bowl_figures(found: Adjustment, dish: Proposal) -> tuple[Figure, ...]:
    """The weights around the bowl: what was planned, what is in it, and what is still to add."""
    inside = {**found.added, **found.weighed}
    figures = []
    for plan, item in zip(found.plan, dish.weights, strict=True):
        bowl = inside.get(item.ingredient)
        left = item.grams - (bowl or ZERO)
        figures.append(Figure(
            weight_now(item), typed(item.grams), float(item.grams), None, None, "", _remark(item), "", item.measure,
            weight(plan), typed(bowl), weight(left) if left else ""))
    return tuple(figures)


def _spare(states: Sequence[LimitState], nutrient: str, sense: str) -> tuple[str, str]:
    """How far the dish is from a guarded target, and in a word how it stands."""
    for state in states:
        if (state.limit.nutrient, state.limit.sense) == (nutrient, sense):
            return slack_text(state) if state.slack is not None else "no ratio", _state_word(state)
    return "", ""


def _state_word(state: LimitState) -> str:
    return "binding" if state.binding else "broken" if state.slack is None or state.slack < 0 else "loose"


def _limit_line(state: LimitState, number: int) -> LimitLine:
    limit = state.limit
    place = limit.subject.place if limit.kind == "ingredient" else -1
    if state.slack is None:
        return LimitLine(number, limit.name, limit_words(limit), "none", "no protein or carbs", "broken", place=place)
    looser, saved = loosening(state)
    return LimitLine(number, limit.name, limit_words(limit), actual_text(state), slack_text(state), _state_word(state),
                     looser if saved else "", visible(Fraction(saved), 2) if saved else "", place)


# --- without ----------------------------------------------------------------------------------------------------------


def _impossible(answer: Impossible, table: Mapping[str, Any], columns: Sequence[str]) -> Answer:
    diagnosis, recipe = answer.diagnosis, answer.recipe

    def cure(repair: Repair) -> Cure:
        moved_by = f"a change of {share_moved(repair.relative)} %" if repair.limit.bound else ""
        return Cure(told(repair), moved_by, moved(repair.limit, repair.to, table, recipe, columns),
                    repair.limit.prescribed)

    repairs = diagnosis.repairs or diagnosis.joint_repair
    alone = bool(diagnosis.repairs)
    fats = tuple(Cure(f"add {fat.food.name}, at most {weight(fat.grams)} g",
                      f"allergens: {allergens_of_food(fat.food) or 'none known'}",
                      food_added(fat.food, float(fat.grams), recipe, table)) for fat in diagnosis.fats or ())
    return Answer(
        "impossible", shape_of(recipe, limits_of(recipe)), answer.outcome, tuple(_why(answer)),
        limits=tuple(_asked(recipe, diagnosis)),
        conflict_heading=conflict_heading(diagnosis),
        cures_heading=CHANGES[alone, len(repairs) > 1] if repairs else "", cures=tuple(map(cure, repairs)),
        together=not alone and len(repairs) > 1,
        stuck=tuple(limit.name for limit in diagnosis.stuck) if alone else (), fats=fats,
        reach_heading=reach_heading(diagnosis), reach=tuple(" ".join(found).strip() for found in reached(answer)),
        **_beside(answer))


def _why(answer: Impossible) -> Iterator[str]:
    diagnosis = answer.diagnosis
    yield sentence(diagnosis)
    if not any(item.adjustable for item in answer.recipe.ingredients):
        yield ALL_FIXED
    if diagnosis.steps:
        yield steps_sentence(diagnosis)
    if diagnosis.empty:
        yield empty_sentence(diagnosis)
    if diagnosis.conflict:
        yield proof(diagnosis)


def _asked(recipe: Recipe, diagnosis: Diagnosis) -> Iterator[LimitLine]:
    """The limits that can be moved, those of the conflict first."""
    numbered: list[tuple[int, Limit]] = list(enumerate(limits_of(recipe)))
    conflict = {limit.identity for limit in diagnosis.conflict}
    for inside in (True, False):
        for number, limit in numbered:
            if (limit.identity in conflict) == inside and (inside or limit.kind != "ingredient"):
                place = limit.subject.place if limit.kind == "ingredient" else -1
                yield LimitLine(number, limit.name, limit_words(limit), state="in conflict" if inside else "",
                                place=place)


def _bowl_impossible(found: Adjustment, answer: Impossible) -> Answer:
    return Answer(
        "impossible", shape_of(found.recipe, limits_of(found.recipe)), f"{answer.outcome} with this bowl",
        (sentence(answer.diagnosis),),
        limits=tuple(_asked(found.recipe, answer.diagnosis)), conflict_heading=conflict_heading(answer.diagnosis),
        ways=tuple(Cure(remedy_words(way, found), cost_words(way), (),
                        any(limit.prescribed for limit, _ in way.eased)) for way in found.remedies),
        **_beside(answer))
