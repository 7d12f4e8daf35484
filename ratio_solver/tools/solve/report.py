"""What is told of a solved dish: text for a terminal of 80 columns, JSON and CSV."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from types import MappingProxyType

from ratio_solver.dish.status import Weight
from ratio_solver.exact import ZERO, exact
from ratio_solver.output.blocks import GOOD, QUIET, Block, Text, allergens_of, batch_line, headline, notes
from ratio_solver.output.dish_text import (
    CHOICE,
    WEIGHT_COLUMNS,
    dish_data,
    limits_section,
    serving_section,
    span_text,
    standing_data,
    weight_data,
    weights_sections,
    with_caution,
)
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import counted, decimal, plain, short
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.result import Objective, Proposal
from ratio_solver.tools.scale_error.compute import bench_data, bench_sections

PREFERRED = {
    "closest": "as close to the start as the limits allow",
    "even": "with the largest change as small as it can be",
    "cheapest": "at the lowest price",
    "lightest": "with the least energy",
    "lowest-carb": "with the least net carbs",
}

MOST_EQUAL = 4
"""Weights named as equally good; further ones are counted."""

OBJECTIVES: Mapping[str, tuple[str, str, int, Callable[[Fraction, int], str]]] = MappingProxyType({
    "g moved": ("{} g moved", " g", 1, decimal),
    "share moved": ("largest change {} % of a start", " %", 100, short),
    "price of the batch": ("price of the batch {}", "", 1, decimal),
    "kcal per serving": ("{} kcal per serving", " kcal", 1, decimal),
    "g net carbs per serving": ("{} g net carbs per serving", " g", 1, decimal),
})
"""Unit of an objective to its value in words, the unit of a difference, the scale and the rounding of both."""


def best_line(weights: Sequence[Weight], exact: bool) -> str:
    """Whether other weights are as good, and which."""
    spans = [(item.best_lowest, item.best_highest, item) for item in weights
             if item.best_lowest is not None and item.best_highest is not None]
    if not spans:
        return ""
    free = [f"{span_text(low, high, item if exact else None)} g of {item.ingredient}"
            for low, high, item in spans if high - low >= CHOICE]
    if not free:
        return "the only best answer" if exact else "between the steps there is only one best answer"
    more = len(free) - MOST_EQUAL
    others = f", and {counted(more, 'other')}" if more > 0 else ""
    return f"equally good{'' if exact else ' between the steps'}: {', '.join(free[:MOST_EQUAL])}{others}"


def text(proposal: Proposal, scale_error: str | None = None, measures: bool = False) -> Block:
    """A solved dish at a glance, with the sections that are asked for."""
    recipe = proposal.recipe
    return (
        headline(recipe.title, "solved", GOOD),
        Text(f"{batch_line(recipe, proposal.facts, serving_at_start(recipe))}, {PREFERRED[proposal.prefer]}:"),
        Text(objective_line(proposal.objective), QUIET),
        *([Text(best, QUIET)] if (best := best_line(proposal.weights, proposal.exact)) else []),
        *weights_sections(proposal.weights),
        serving_section(proposal),
        *_limits(proposal),
        *bench_sections(proposal, scale_error, measures),
        notes(recipe, allergens_of(proposal), proposal.warnings, proposal.cautions),
    )


def serving_at_start(recipe: Recipe) -> Fraction:
    """What a serving weighs as the recipe is written, g."""
    return sum(map(exact, recipe.starts), ZERO) / recipe.servings


def objective_line(objective: Objective) -> str:
    """What was minimised, and how it is known to be the least: by exact arithmetic, or by the solver's search alone."""
    words, unit, times, size = OBJECTIVES[objective.unit]
    value = words.format(size(objective.value * times, 2))
    if objective.proven:
        within = objective.resolution * times
        least = "proven the least" if objective.proof == "exact" else "the least by search"
        more = f" to within {short(within, 6)}{unit}" if within else ""
        ties = "" if objective.settled else "; other weights may be as good: not all were gone through"
        return f"{value}, {least}{more}{ties}"
    gap = decimal(max(Fraction(0), objective.value - objective.bound) * times, 2)
    return f"{value}, at most {gap}{unit} above the least, not proven"


UNPRICED = "The time for savings was up (--time-limit) before every limit had one"


def _limits(proposal: Proposal) -> list[Block]:
    """The limits; what loosening saves is not known under a confidence, and is that of weights between the steps."""
    if proposal.confidence:
        return limits_section(proposal.limits)
    priced = not proposal.exact and any(state.price for state in proposal.limits)
    between = [Text("Savings are those of the weights between the steps (--exact).", QUIET)] if priced else []
    left_out = [Text(f"{UNPRICED}.")] if proposal.unpriced else []
    return limits_section(proposal.limits, proposal.objective.unit, *between, *left_out)


def data(proposal: Proposal, scale_error: str | None = None) -> Data:
    """The same in the keys of the command's JSON: a stable interface, added to and never renamed."""
    objective = proposal.objective
    return dish_data(
        proposal,
        outcome=proposal.outcome,
        prefer=proposal.prefer,
        objective={
            "value": plain(objective.value),
            "unit": objective.unit,
            "bound": plain(objective.bound),
            "proven": objective.proven,
            "proof": objective.proof or None,
            "resolution": plain(objective.resolution),
            "ties_settled": objective.settled,
        },
        exact=proposal.exact,
        prices="tangents of the confidence" if proposal.confidence else
        f"linear programme{'. ' + UNPRICED if proposal.unpriced else ''}",
        **standing_data(proposal),
        diagnosis=None,
        certificate={
            "shortfall": plain(proposal.certificate.shortfall),
            "gap": plain(proposal.certificate.gap),
        },
        allergens=list(proposal.allergens),
        allergens_unknown=list(proposal.allergens_unknown),
    ) | bench_data(proposal, scale_error)


def rows(proposal: Proposal) -> Rows:
    """A row an ingredient."""
    return with_caution(WEIGHT_COLUMNS, map(weight_data, proposal.weights), proposal)
