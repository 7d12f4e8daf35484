"""What came out, in the words and figures of the commands: nothing is left to reckon for the page that shows it.

Everything here is text and plain numbers, made in the process that solves and sent to the one that serves.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any, NamedTuple

from ratio_solver.dish.cautions import in_a_cell, on_screen
from ratio_solver.dish.constraints import Limit, limits_of
from ratio_solver.dish.notices import allergens_of_food
from ratio_solver.dish.status import LimitState, Weight
from ratio_solver.exact import ZERO
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.table import FoodTable
from ratio_solver.output.blocks import Block, Text, allergens_of, batch_line, limit_words
from ratio_solver.output.dish_text import (
    actual_text,
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
from ratio_solver.page.edits import Change, food_added, limit_moved
from ratio_solver.page.history import State
from ratio_solver.page.sheet import asked_of, typed
from ratio_solver.recipe.model import RATIO, Recipe
from ratio_solver.recipe.read import recipe_of_text
from ratio_solver.solving.result import Diagnosis, Impossible, Proposal
from ratio_solver.solving.solve import solve
from ratio_solver.tools.adjust.compute import UNFINISHED, Adjustment, adjust, cost_words, plan_line, remedy_words
from ratio_solver.tools.card.content import serving_figures
from ratio_solver.tools.solve.impossible import (
    NEARER_OPEN,
    between_sections,
    changes_heading,
    conflict_heading,
    left_out_lines,
    nearer_open,
    proof,
    reach_heading,
    reached,
    share_moved,
    stuck_names,
)
from ratio_solver.tools.solve.relaxation_words import empty_sentence, nearest_section, sentence, steps_sentence, told
from ratio_solver.tools.solve.report import PREFERRED, UNPRICED, best_line, objective_line, serving_at_start


@dataclass(frozen=True)
class WeightLine:
    """What came out for one ingredient.

    Attributes
    ----------
    grams : str
        What goes on the scale.
    exact : str
        The same with all its decimals, as it is typed.
    lowest, highest : float or None
        For the track, g.
    change, remark, could, measure, plan, to_add : str
        Empty where there is nothing to say.
    """

    grams: str
    exact: str
    lowest: float | None
    highest: float | None
    change: str = ""
    remark: str = ""
    could: str = ""
    measure: str = ""
    plan: str = ""
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
class Offer:
    """What would do where there are no weights, in words, with what it changes in the file."""

    words: str
    cost: str
    changes: tuple[Change, ...]
    prescribed: bool = False


@dataclass(frozen=True)
class PageAnswer:
    """What came out of a state.

    Attributes
    ----------
    outcome : {"solved", "adjusted", "impossible", "undecided"}
        "adjusted" where it is solved around what is in the bowl.
    asked : tuple
        Labels and limits that it was found for, as `Sheet.asked` has them.
    headline : str
        What is said over it beside the outcome; empty where there is nothing.
    said : tuple of str
    figures : tuple of WeightLine, one per ingredient; none where there are no weights
    gauges : mapping of "ratio" and "net_carbs_g" to Gauge
    limits : tuple of LimitLine
        From binding to loose; of an impossible dish those of the conflict first.
    facts : tuple of mapping
        Of a serving, as a card has them.
    known : Block
        Where there are no weights: those nearest to a band, or between the steps, as `solve` reports them.
    left_out : Block
        What was not looked at to the end.
    """

    outcome: str
    asked: tuple[tuple[str, ...], tuple[object, ...]]
    headline: str
    said: tuple[str, ...]
    figures: tuple[WeightLine, ...] = ()
    gauges: Mapping[str, Gauge] = field(default_factory=dict)
    limits: tuple[LimitLine, ...] = ()
    facts: tuple[Mapping[str, object], ...] = ()
    allergens: str = ""
    saves_in: str = ""
    formula: str = ""
    reckoned: str = ""
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    short_caution: str = ""
    known: Block = ()
    left_out: Block = ()
    conflict_heading: str = ""
    changes_heading: str = ""
    changes: tuple[Offer, ...] = ()
    nearer_open: str = ""
    together: bool = False
    stuck: tuple[str, ...] = ()
    fats: tuple[Offer, ...] = ()
    reach_heading: str = ""
    reach: tuple[str, ...] = ()
    ways: tuple[Offer, ...] = ()


SAVED = {"g moved": "g fewer moved"}

NONE_MOVES = "Every ingredient is fixed: let those move that may, each under its line."


class Origin(NamedTuple):
    """Where a dish comes from: what faults call it, and the folder from which its tables are named."""

    source: str
    folder: str


def answer_of(foods: FoodTable, state: State, origin: Origin, known: Mapping[str, Any] | None = None) -> PageAnswer:
    """Solve a state of a dish; around what is in the bowl, where something is.

    `known` are the values of its text where they are read already.

    Raises
    ------
    BadInput
        With every fault of the recipe, or of what is in the bowl.
    """
    recipe = recipe_of_text(state.text, foods, *origin, known)
    if not state.bowl:
        answer = solve(recipe, foods=foods)
        if isinstance(answer, Proposal):
            return _with_weights(answer, recipe)
        return _impossible(answer, known or tomllib.loads(state.text), foods.with_tables(recipe.tables).columns)
    found = adjusted(recipe, state)
    if isinstance(found.result, Impossible):
        return _impossible_with_bowl(found, found.result)
    headline = f"adjusted: {remedy_words(found.taken, found)}" if found.taken else ""
    return replace(_with_weights(found.result, recipe), outcome="adjusted", headline=headline,
                   said=(plan_line(found.result),), figures=_bowl_figures(found, found.result))


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
    if dish.unpriced:
        yield UNPRICED


def _with_weights(dish: Proposal, recipe: Recipe) -> PageAnswer:
    """What is said of any dish that has weights; `recipe` as it is written."""
    limits = limits_of(recipe)
    numbers = {limit.identity: number for number, limit in enumerate(limits)}
    return PageAnswer(
        "solved", asked_of(recipe, limits), "", tuple(_said(dish)), tuple(map(_weight_line, dish.weights)),
        {RATIO: _gauge(ratio_cell(dish), dish.limits, RATIO, ">="),
         NET_CARBS: _gauge(fact(dish.facts, NET_CARBS, dish.limits), dish.limits, NET_CARBS, "<=")},
        tuple(_limit_line(state, numbers.get(state.limit.identity, -1)) for state in limits_told(dish.limits)),
        tuple(serving_figures(dish)), allergens_of(dish), SAVED.get(dish.objective.unit, dish.objective.unit),
        **_common(dish),
    )


def _common(dish: Proposal | Impossible) -> dict[str, Any]:
    """What is said beside the figures of any answer."""
    return {"formula": dish.recipe.policy.formula, "reckoned": dish.recipe.reckoned, "warnings": dish.warnings,
            "cautions": on_screen(dish.cautions), "short_caution": in_a_cell(dish.cautions)}


def _weight_line(item: Weight) -> WeightLine:
    change = item.change
    changed = f"{'+' if change > 0 else '−'}{weight(abs(change))}" if change else ""
    return WeightLine(weight_now(item), typed(item.grams), plain(item.lowest), plain(item.highest), changed,
                      _remark(item), could_be(item), item.measure)


def _remark(item: Weight) -> str:
    bound = "" if item.at in (None, "fixed") else "left out" if is_left_out(item) else f"at its {item.at}"
    return ", ".join(filter(None, (pieces_of(item), bound)))


def _bowl_figures(found: Adjustment, dish: Proposal) -> tuple[WeightLine, ...]:
    """The weights around the bowl: what was planned, and what is still to add to what is in it."""
    inside = {**found.added, **found.weighed}
    lefts = [item.grams - inside.get(item.ingredient, ZERO) for item in dish.weights]
    return tuple(replace(_weight_line(item), lowest=None, highest=None, change="", could="", plan=weight(plan),
                         to_add=weight(left) if left else "")
                 for plan, item, left in zip(found.plan, dish.weights, lefts, strict=True))


def _gauge(value: str, states: Sequence[LimitState], nutrient: str, sense: str) -> Gauge:
    """A guarded target: how far the dish is from it, and in a word how it stands."""
    state = next((one for one in states if (one.limit.nutrient, one.limit.sense) == (nutrient, sense)), None)
    if state is None:
        return Gauge(value, "", "")
    return Gauge(value, slack_text(state) if state.slack is not None else "no ratio", _state_word(state))


def _state_word(state: LimitState) -> str:
    return "binding" if state.binding else "broken" if state.slack is None or state.slack < 0 else "loose"


def _limit_line(state: LimitState, number: int) -> LimitLine:
    limit = state.limit
    place = _ingredient_place(limit)
    if state.slack is None:
        return LimitLine(number, limit.name, limit_words(limit), "none", "no protein or carbs", "broken", place=place)
    looser, saved = loosening(state)
    return LimitLine(number, limit.name, limit_words(limit), actual_text(state), slack_text(state), _state_word(state),
                     looser if saved else "", visible(Fraction(saved), 2) if saved else "", place)


def _ingredient_place(limit: Limit) -> int:
    """The ingredient whose own bound a limit is; -1 where it is another limit."""
    return limit.subject.place if limit.kind == "ingredient" else -1


# --- without ----------------------------------------------------------------------------------------------------------


def _impossible(answer: Impossible, table: Mapping[str, Any], columns: Sequence[str]) -> PageAnswer:
    diagnosis, recipe = answer.diagnosis, answer.recipe
    alone = bool(diagnosis.repairs)
    relaxed = diagnosis.repairs or diagnosis.joint_repair
    changes = tuple(Offer(told(one), f"a change of {share_moved(one.relative)} %" if one.limit.bound else "",
                          limit_moved(one.limit, one.to, table, recipe, columns), one.limit.prescribed)
                    for one in relaxed)
    fats = tuple(Offer(f"add {fat.food.name}, at most {weight(fat.grams)} g",
                       f"allergens: {allergens_of_food(fat.food) or 'none known'}",
                       food_added(fat.food, fat.grams, recipe, table)) for fat in diagnosis.fats or ())
    return replace(
        _no_weights(answer, recipe, tuple(_why(answer))),
        changes_heading=changes_heading(diagnosis) if relaxed else "", changes=changes,
        nearer_open=NEARER_OPEN if nearer_open(diagnosis) else "",
        together=not alone and len(relaxed) > 1,
        stuck=tuple(stuck_names(diagnosis)) if alone else (), fats=fats,
        reach_heading=reach_heading(diagnosis), reach=tuple(" ".join(found).strip() for found in reached(answer)))


def _impossible_with_bowl(found: Adjustment, answer: Impossible) -> PageAnswer:
    ways = tuple(Offer(remedy_words(way, found), cost_words(way), (), any(limit.prescribed for limit, _ in way.eased))
                 for way in found.remedies)
    return replace(_no_weights(answer, found.recipe, (sentence(answer.diagnosis),)),
                   headline=f"{answer.outcome} with this bowl", ways=ways,
                   left_out=(Text(UNFINISHED.strip()),) if found.unfinished else ())


def _no_weights(answer: Impossible, recipe: Recipe, said: tuple[str, ...]) -> PageAnswer:
    """What is said of any dish without weights; `recipe` as it is written."""
    return PageAnswer(answer.outcome, asked_of(recipe, limits_of(recipe)), "", said,
                      limits=tuple(_conflict_first(recipe, answer.diagnosis)),
                      known=tuple(_weights_nearby(answer)), left_out=tuple(left_out_lines(answer.diagnosis)),
                      conflict_heading=conflict_heading(answer.diagnosis) if answer.diagnosis.conflict else "",
                      **_common(answer))


def _weights_nearby(answer: Impossible) -> Iterator[Block]:
    if answer.diagnosis.nearest:
        yield nearest_section(answer.recipe, answer.diagnosis.nearest)
    yield from between_sections(answer)


def _why(answer: Impossible) -> Iterator[str]:
    diagnosis = answer.diagnosis
    yield sentence(diagnosis)
    if not any(item.adjustable for item in answer.recipe.ingredients):
        yield NONE_MOVES
    if diagnosis.steps:
        yield steps_sentence(diagnosis)
    if diagnosis.empty:
        yield empty_sentence(diagnosis)
    if diagnosis.conflict:
        yield proof(diagnosis)


def _conflict_first(recipe: Recipe, diagnosis: Diagnosis) -> Iterator[LimitLine]:
    """The limits that can be moved, those of the conflict first."""
    conflict = {limit.identity for limit in diagnosis.conflict}
    for inside in (True, False):
        for number, limit in enumerate(limits_of(recipe)):
            if (limit.identity in conflict) == inside and (inside or limit.kind != "ingredient"):
                yield LimitLine(number, limit.name, limit_words(limit), state="in conflict" if inside else "",
                                place=_ingredient_place(limit))
