"""The adjusted bowl: as text, and as data for JSON."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.exact import ZERO, exact
from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    STRONG,
    allergens_of,
    batch_line,
    grid,
    headline,
    limit_words,
    notes,
    section,
)
from ratio_solver.output.dish_data import WEIGHT_COLUMNS, facts_data, weight_data, with_caution
from ratio_solver.output.dish_text import left_out, limits_section, serving_section
from ratio_solver.output.json_csv import Data, as_csv
from ratio_solver.output.numbers import decimal, plain, ratio, short, weight
from ratio_solver.solving.result import Proposal
from ratio_solver.tools.solve.impossible import conflict_section, steps_line

if TYPE_CHECKING:
    from ratio_solver.dish.constraints import Limit
    from ratio_solver.dish.status import LimitState, Weight
    from ratio_solver.recipe.model import Ingredient
    from ratio_solver.tools.adjust.compute import Adjustment
    from ratio_solver.tools.adjust.remedies import Remedy


def adjustment_report(found: Adjustment, taken: Remedy | None = None) -> RenderableType:
    """What to weigh in now; or why no weights will do, and what would."""
    if taken is not None:
        return _dish(found, taken.proposal, f"adjusted: {remedy_words(taken, found)}")
    if isinstance(found.answer, Proposal):
        return _dish(found, found.answer, "adjusted")
    answer = found.answer
    lines: list[RenderableType] = [
        headline(answer.recipe.title, "impossible with this bowl", BAD),
        Text(_bowl_line(found)),
        *steps_line(answer.diagnosis),
        conflict_section(answer.diagnosis),
    ]
    if found.remedies:
        ways = grid(("", "right"), ("", "left"), header=False)
        for k, remedy in enumerate(found.remedies, 1):
            ways.add_row(str(k), Text(remedy_words(remedy, found)))
            ways.add_row("", Text(_cost(remedy), QUIET))
        lines.append(section("What would do (--take N makes it so)", ways))
    else:
        lines.append(Text("\nNeither more servings, nor more fat, nor easing limits would do."))
    return Group(*lines, notes(answer.recipe, None, answer.warnings, answer.cautions))


def _dish(found: Adjustment, proposal: Proposal, state: str) -> RenderableType:
    recipe = proposal.recipe
    return Group(
        headline(recipe.title, state, GOOD),
        Text(_bowl_line(found)),
        Text(f"{batch_line(recipe, proposal.facts)}, {decimal(proposal.objective.value, 2)} g moved from the plan"),
        section("Weights for the batch", _weights_table(found, proposal)),
        serving_section(proposal),
        *limits_section([state for state in proposal.limits if state.limit.kind != "ingredient"]),
        notes(recipe, allergens_of(proposal), proposal.warnings, proposal.cautions),
    )


def _weights_table(found: Adjustment, proposal: Proposal) -> RenderableType:
    table = grid(("ingredient", "left"), ("planned g", "right"), ("now g", "right"), ("to add", "right"), ("", "left"))
    for plan, item, ingredient in zip(found.plan, proposal.weights, found.recipe.ingredients, strict=True):
        inside = _in_bowl(found, item)
        if not (plan or item.grams or inside):
            continue
        left = item.grams - (inside or ZERO)
        state = f"{weight(inside)} in the bowl{_pieces(left, ingredient)}" if inside is not None else \
            "left out" if item.at == "min" and left_out(item) else \
            f"at its {item.at}" if item.at in ("min", "max") else ""
        table.add_row(Text(item.ingredient), weight(plan), Text(weight(item.grams), STRONG),
                      f"+{weight(left)}" if left else "·", Text(state, QUIET))
    return table


def _pieces(added: Fraction, ingredient: Ingredient) -> str:
    """" and 2 pieces" where what is added is in whole pieces."""
    count = added / exact(ingredient.piece) if ingredient.piece else ZERO
    return f" and {short(count)} piece{'' if count == 1 else 's'}" if count and count.denominator == 1 else ""


def _in_bowl(found: Adjustment, item: Weight) -> Fraction | None:
    return found.weighed.get(item.ingredient, found.added.get(item.ingredient))


def _bowl_line(found: Adjustment) -> str:
    inside = [f"{label} {weight(grams)} g" for label, grams in {**found.weighed, **found.added}.items()]
    line = f"In the bowl: {', '.join(inside) or 'nothing yet'}."
    return line if found.planned else f"{line} The recipe has no answer as written: its starts are the plan."


def remedy_words(remedy: Remedy, found: Adjustment) -> str:
    """A remedy as one says it: "add 9 g of butter and make 7 servings"."""
    steps = []
    for label, most, grams in remedy.raised:
        if label in found.weighed:
            steps.append(f"add {weight(grams - most)} g of {label}")
        else:
            steps.append(f"use {weight(grams)} g of {label}, {weight(grams - most)} g above its maximum")
    if remedy.servings is not None:
        steps.append(f"make {remedy.servings} servings")
    for limit, value in remedy.eased:
        asked = limit_words(limit).removeprefix("at least ").removeprefix("at most ")
        name = "a ratio" if limit.nutrient == "ratio" else limit.name
        steps.append(f"accept {name} of {_value(limit, value)} instead of {asked}")
    return " and ".join(steps) or "solve it again"


def _value(limit: Limit, value: Fraction) -> str:
    """The value as the limit is told: "1.94:1", "6.47 g", "1050 g"."""
    return limit_words(replace(limit, bound=value)).removeprefix("at least ").removeprefix("at most ")


def _cost(remedy: Remedy) -> str:
    facts = remedy.proposal.facts
    return (f"{batch_line(remedy.proposal.recipe, facts)}, "
            f"{ratio(facts.ratio, _ratio_states(remedy))}, "
            f"{decimal(facts.amounts['net_carbs_g'], 2)} g net carbs, {short(facts.amounts['energy_kcal'], 0)} kcal")


def _ratio_states(remedy: Remedy) -> list[LimitState]:
    return [state for state in remedy.proposal.limits if state.limit.nutrient == "ratio"]


def adjustment_data(found: Adjustment, taken: Remedy | None = None) -> Data:
    """The outcome of `adjust`: the keys of `solve`, what is in the bowl, the plan and the remedies."""
    data = (found.answer if taken is None else taken.proposal).to_dict()
    labels = [ingredient.label for ingredient in found.recipe.ingredients]
    return data | {
        "planned": found.planned,
        "plan": {label: plain(grams) for label, grams in zip(labels, found.plan, strict=True)},
        "weighed": {label: plain(grams) for label, grams in found.weighed.items()},
        "added": {label: plain(grams) for label, grams in found.added.items()},
        "remedies": [remedy_data(remedy, found) for remedy in found.remedies],
    }


ADJUST_WAYS = ("remedy", "change", "name", "sense", "from", "to", "unit", "words", "ratio", "net_carbs_g")


def adjustment_csv(found: Adjustment, taken: Remedy | None = None) -> str:
    """The weights, a row each; where there are none, what cannot be kept together and each step of each way out."""
    answer = found.answer if taken is None else taken.proposal
    if isinstance(answer, Proposal):
        return as_csv(*with_caution(WEIGHT_COLUMNS, map(weight_data, answer.weights), answer))
    conflict: list[Data] = [
        {"change": "in conflict", "name": limit.name, "sense": limit.sense, "from": plain(limit.bound),
         "unit": limit.unit, "words": limit_words(limit)} for limit in answer.diagnosis.conflict]
    ways = [row for k, remedy in enumerate(found.remedies, 1) for row in _way_rows(k, remedy, found)]
    return as_csv(*with_caution(ADJUST_WAYS, [*conflict, *ways], answer))


def _way_rows(number: int, remedy: Remedy, found: Adjustment) -> Iterator[Data]:
    facts = facts_data(remedy.proposal.facts, remedy.proposal.limits)
    same: Data = {"remedy": number, "words": remedy_words(remedy, found), "ratio": facts["ratio"],
                  "net_carbs_g": facts["net_carbs_g"]}
    for label, most, grams in remedy.raised:
        yield {**same, "change": "use more", "name": label, "sense": "<=", "from": plain(most), "to": plain(grams),
               "unit": "g"}
    if remedy.servings is not None:
        yield {**same, "change": "make more servings", "name": "servings", "from": found.recipe.servings,
               "to": remedy.servings}
    for limit, value in remedy.eased:
        yield {**same, "change": "ease a limit", "name": limit.name, "sense": limit.sense,
               "from": plain(limit.bound), "to": plain(value), "unit": limit.unit}
    if not (remedy.raised or remedy.servings or remedy.eased):
        yield {**same, "change": "solve again"}


def remedy_data(remedy: Remedy, found: Adjustment) -> Data:
    """One way out, with the weights and facts it leads to."""
    proposal = remedy.proposal
    return {
        "words": remedy_words(remedy, found),
        "servings": remedy.servings,
        "eased": [{"name": limit.name, "sense": limit.sense, "from": plain(limit.bound), "to": plain(value)}
                  for limit, value in remedy.eased],
        "raised": [{"ingredient": label, "from": plain(most), "to": plain(grams)}
                   for label, most, grams in remedy.raised],
        "weights": [weight_data(item) for item in proposal.weights],
        "per_serving": facts_data(proposal.facts, proposal.limits),
    }
