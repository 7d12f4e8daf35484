"""A dish in figures: its weights, one serving of it, and how its limits stand, as text and as plain data.

Keys of the data are a stable interface: added to, never renamed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.dish.check import Check, DishAtWeights
from ratio_solver.dish.confidence import Confidence, guaranteed_for, most_weights, taken_as_exact
from ratio_solver.dish.nutrition import Facts, left_out
from ratio_solver.dish.status import LimitState, Weight, ratio_reached
from ratio_solver.exact import ONE, ZERO
from ratio_solver.foods.ends import Guaranteed, kind_of
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS
from ratio_solver.foods.quantities import SHARE, UNIT_TABLE, quantity_of
from ratio_solver.output.blocks import BAD, QUIET, STRONG, Block, Cell, Text, limit_words, section, table_of
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import (
    figure_with_unit,
    honest,
    in_unit,
    plain,
    ratio,
    short,
    visible,
    weight,
    with_unit,
)
from ratio_solver.output.streams import WIDTH
from ratio_solver.recipe.model import RATIO, Recipe

if TYPE_CHECKING:
    from ratio_solver.solving.result import Answer

CHOICE = Fraction(1, 100)
"""Grams; a range of a weight that is narrower is no choice."""

LEAST_LOOSENING = 1e-3
"""A price that holds for less than this share of such a step is not stated."""

SAVES = {"g moved": "g", "share moved": "% points", "price of the batch": "price", "kcal per serving": "kcal",
         "g net carbs per serving": "g net carbs"}
"""Unit of an objective to the unit in the heading of what loosening saves."""

FACT_ROWS = (
    ("carbs_g", "fibre_g", NET_CARBS),
    ("fat_g", "protein_g", ENERGY),
    ("soluble_fibre_g", "insoluble_fibre_g"),
)

WEIGHT_HEADINGS = (("ingredient", "left"), ("was g", "right"), ("now g", "right"), ("change", "right"),
                   ("allowed g", "right"), ("could be", "right"), ("", "left"))
COULD_BE, REMARK = 5, 6
"""Columns that are not always there."""


def weights_sections(weights: Sequence[Weight]) -> list[Block]:
    """What each weight was, is and could be, and what sits at a bound; could be in a section where it does not fit."""
    rows = [_weight_row(item) for item in weights]
    columns = [[heading, *(row[place].words for row in rows)] for place, (heading, _) in enumerate(WEIGHT_HEADINGS)]
    width = 2 + sum(max(map(len, column)) for column in columns) + 2 * (len(columns) - 1)
    ranged, remarks = any(columns[COULD_BE][1:]), any(columns[REMARK])
    shown = [*range(COULD_BE), *([COULD_BE] if ranged and width <= WIDTH else []), *([REMARK] if remarks else [])]
    table = table_of([WEIGHT_HEADINGS[place] for place in shown], ([row[place] for place in shown] for row in rows))
    sections: list[Block] = [section("Weights for the batch", table)]
    if ranged and COULD_BE not in shown:
        words = ", ".join(f"{item.ingredient} {text}" for item, text in
                          zip(weights, columns[COULD_BE][1:], strict=True) if text)
        sections.append(section("Could be, g (the others following)", Text(words, QUIET)))
    return sections


def _weight_row(item: Weight) -> tuple[Text, ...]:
    """A weight in the columns of its table."""
    called = bound_at(item)
    return (
        Text(item.ingredient),
        Text(weight(item.start)),
        Text(weight_now(item), STRONG if item.at != "fixed" else ""),
        Text(f"{'+' if item.change > 0 else ''}{weight(item.change)}") if item.change else Text("·", QUIET),
        Text(allowed(item)),
        Text(could_be(item), QUIET),
        Text(", ".join(filter(None, (pieces_of(item), called))).replace(", at its ", ", "),
             "" if not called else QUIET if is_left_out(item) else "yellow"),
    )


def weight_now(item: Weight) -> str:
    """The weight to put on the scale; one on its step is shown with all its decimals."""
    return weight(item.grams) if item.step is None else short(item.grams, 9)


def pieces_of(item: Weight) -> str:
    """"3 pieces" where the weight is in whole pieces."""
    if item.step is None or not item.piece:
        return ""
    count = item.grams / item.step
    return f"{short(count, 0)} piece{'' if count == 1 else 's'}"


def bound_at(item: Weight) -> str:
    """At which bound a weight is, in words."""
    return "" if item.at in (None, "fixed") else "left out" if is_left_out(item) else f"at its {item.at}"


def is_left_out(item: Weight) -> bool:
    """Whether an ingredient that may be used is not, whatever its maximum."""
    return not item.maximum or (item.at == "min" and not item.minimum)


def allowed(item: Weight) -> str:
    """From where to where a weight may be."""
    if item.minimum is None or item.maximum is None:
        return "fixed"
    return f"{short(item.minimum)} to {short(item.maximum)}" if item.maximum else "none"


def could_be(item: Weight) -> str:
    """The weights that keep all limits, rounded inwards: each weight named really is possible."""
    if item.lowest is None or item.highest is None or not item.maximum:
        return ""
    return "no other" if item.highest - item.lowest < CHOICE else span_text(item.lowest, item.highest, item)


def span_text(lowest: Fraction, highest: Fraction, around: Weight | None = None) -> str:
    """"12 to 31", rounded inwards, but not past a weight that lies within: then its end is that weight as it is told.

    >>> span_text(Fraction(121, 10), Fraction(31)), span_text(Fraction(121, 10), Fraction(125, 10))
    ('13 to 31', '12.1 to 12.5')
    """
    scale = 1 if math.floor(highest) > math.ceil(lowest) else 100
    low, high = Fraction(math.ceil(lowest * scale), scale), Fraction(math.floor(highest * scale), scale)
    ends = [short(low), short(high)]
    if around is not None:
        ends = [weight_now(around) if beyond else end for beyond, end in
                zip((around.grams < low, around.grams > high), ends, strict=True)]
    return " to ".join(ends)


def serving_section(dish: DishAtWeights) -> Block:
    """Facts of one serving and its ratio."""
    facts = table_of((("", "left"), ("", "right")) * 3, _fact_rows(dish), header=False)
    return section("Per serving", facts, _ratio_line(dish))


def _fact_rows(dish: DishAtWeights) -> Iterator[Sequence[Cell]]:
    """Facts of one serving: carbohydrate first, and what of it does not count."""
    shown = {column for row in FACT_ROWS for column in row}
    for row in (*FACT_ROWS, *((target.nutrient,) for target in dish.recipe.targets if target.nutrient not in shown)):
        cells = [cell for column in row if column in dish.facts.amounts for cell in (
            quantity_of(column).words,
            Text(fact(dish.facts, column, dish.limits), STRONG if column == NET_CARBS else ""))]
        if cells:
            yield cells
        if NET_CARBS in row:
            for name, grams in left_out(dish.recipe, dish.grams_of_each).items():
                yield f"left out: {name}", f"{visible(grams, 2)} g"


def fact(facts: Facts, column: str, limits: Sequence[LimitState]) -> str:
    """One figure with its unit; "at least" where an ingredient's figure is unknown."""
    states = [state for state in limits if state.limit.nutrient == column]
    unit = quantity_of(column).unit
    if unit == SHARE:
        return figure_with_unit(facts.amounts[column], unit, states)
    return f"{at_least(facts, column)}{honest(facts.amounts[column], decimals_of(facts, column), states)} {unit}"


def decimals_of(facts: Facts, column: str) -> int:
    """With how many decimals a figure of a serving is given."""
    unit = quantity_of(column).unit
    return 2 if unit == "g" or (unit != "kcal" and facts.amounts[column] < 10) else 0


def at_least(facts: Facts, column: str) -> str:
    """What goes before a figure that is the least it can be; net carbs can only be lower."""
    return "at least " if column in facts.unknown and column != NET_CARBS else ""


def _ratio_line(dish: DishAtWeights) -> Text:
    """The ratio, and the one that is kept at the ends of the intervals or with the confidence asked for."""
    kept = [state for state in dish.limits if state.limit.nutrient == RATIO]
    stated = ratio(dish.facts.ratio, () if dish.guaranteed or dish.confidence else kept)
    text = Text.assemble("ratio  ", (stated, STRONG))
    if kept and kept[0].actual is not None:
        least = ratio(kept[0].actual, kept[:1])
        if dish.confidence:
            text = text.plus(f"  ({least} with {short(100 * dish.confidence.probability, 6)} %)")
        if dish.guaranteed:
            sure = guaranteed_for(dish.recipe, dish.grams_of_each, dish.guaranteed)
            text = text.plus(f"  (guaranteed {least})" if sure else f"  ({least} at the ends of the intervals)")
    return text.plus(dish.recipe.policy.formula)


def limits_section(states: Sequence[LimitState], unit: str = "", *said: Block,
                   heading: str = "Limits, from binding to loose") -> list[Block]:
    """The limits that have a line, with what is said of them; nothing where there is none.

    `unit` is that of the objective; without, nothing is told of what loosening saves.
    """
    told = limits_told(states)
    savings = (("looser by", "right"), (f"saves\n{SAVES[unit]}", "right")) if unit else ()
    table = table_of((("limit", "left"), ("allowed", "left"), ("is", "right"), ("slack", "right"), *savings),
                     (_limit_row(state, unit) for state in told))
    return [section(heading, table, *said)] if told else []


def limits_told(states: Sequence[LimitState]) -> list[LimitState]:
    """The limits that have a line of their own, from binding (or broken) to loose.

    An ingredient's own bound has one only where loosening it saves, or where it is broken.
    """
    return sorted((state for state in states if state.limit.kind != "ingredient"
                   or loosening(state)[0] or (state.slack is not None and state.slack < 0)), key=_tightness)


def _tightness(state: LimitState) -> tuple[bool, Fraction]:
    """Sort key from binding (or broken) to loose: slack as a share of the limit."""
    if state.slack is None:
        return True, ZERO
    return False, state.slack / (abs(state.limit.bound) or ONE)


def _limit_row(state: LimitState, unit: str) -> Iterator[Cell]:
    """A limit in the columns of its table."""
    if state.slack is None:
        yield from (state.limit.name, limit_words(state.limit), "none", state.limit.nothing)
        return
    style = BAD if state.slack < 0 else "yellow" if state.binding else ""
    yield from (Text(state.limit.name, style), limit_words(state.limit), actual_text(state),
                Text(slack_text(state), style))
    if unit:
        words, saved = loosening(state)
        size = Fraction(saved) * (100 if unit == "share moved" else 1)
        yield from (words, visible(size, 2)) if size else ("", "")


def loosening(state: LimitState) -> tuple[str, float]:
    """By how much to loosen a limit, in words, and how much less the objective then is; ("", 0) where nothing is.

    The step is shortened to what the saving is known for, and cut to one figure: a step that a cook can read.
    """
    looser, limit = state.looser, state.limit
    told = UNIT_TABLE[limit.unit]
    if looser is None or not looser.price or not told.loosening_words:
        return "", 0.0
    usual = told.loosening
    bound = float(limit.bound)
    room = math.inf if looser.until is None else abs(looser.until - bound)
    if limit.sense == ">=":
        room = min(room, bound)
    step = usual
    if room < usual:
        if room < LEAST_LOOSENING * usual:
            return "", 0.0
        figure = 10.0 ** math.floor(math.log10(room) + 1e-9)
        step = math.floor(room / figure + 1e-9) * figure
    shown = step * told.times
    return (told.loosening_words.format(short(shown, 6), "" if shown == 1 else "s"),
            -looser.change(step if limit.sense == "<=" else -step))


def actual_text(state: LimitState) -> str:
    """The limit's actual value, on the side of the bound where it really is."""
    assert state.actual is not None
    return figure_with_unit(state.actual, state.limit.unit, [state])


def broken_words(state: LimitState) -> str:
    """A limit that is not kept, and what is instead."""
    actual = f"without {state.limit.nothing.removeprefix('no ')}" if state.actual is None else actual_text(state)
    name = state.limit.subject.words if state.limit.kind == "ingredient" else state.limit.name
    return f"{name} {limit_words(state.limit)}, is {actual}"


def slack_text(state: LimitState) -> str:
    """"binding", or the slack; "broken by" where the limit is not kept."""
    assert state.slack is not None
    if state.binding:
        return "binding"
    unit = state.limit.unit
    size = in_unit(abs(state.slack), unit)
    text = short(size, 0) if unit == "used" else \
        visible(size, UNIT_TABLE[unit].coarse if size >= 10 else UNIT_TABLE[unit].fine)
    # The slack of a ratio is a difference of ratios, and no ratio itself.
    told = text if unit == ":1" else with_unit(text, unit)
    return f"broken by {told}" if state.slack < 0 else told


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
