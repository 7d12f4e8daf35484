"""What is told of a solved dish: text for a terminal of 80 columns, JSON and CSV."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from types import MappingProxyType

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.dish.status import LimitState
from ratio_solver.output.blocks import (
    GOOD,
    QUIET,
    allergens_of,
    batch_line,
    could_be_fits,
    headline,
    limits_table,
    notes,
    section,
    told,
    weights_table,
)
from ratio_solver.output.could_be import best_line, could_be_lines
from ratio_solver.output.dish_data import (
    WEIGHT_COLUMNS,
    allergen_data,
    dish_data,
    facts_data,
    limit_data,
    unknown_data,
    weight_data,
    with_caution,
)
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, plain, short
from ratio_solver.output.serving import serving_section
from ratio_solver.solving.result import Objective, Proposal
from ratio_solver.tools.scale_error.sections import bench_data, bench_sections

PREFERRED = {
    "closest": "as close to the start as the limits allow",
    "even": "with the largest change as small as it can be",
    "cheapest": "at the lowest price",
    "lightest": "with the least energy",
    "lowest-carb": "with the least net carbs",
}

OBJECTIVES: Mapping[str, tuple[str, str, int, Callable[[Fraction, int], str]]] = MappingProxyType({
    "g moved": ("{} g moved", " g", 1, decimal),
    "share moved": ("largest change {} % of a start", " %", 100, short),
    "price of the batch": ("price of the batch {}", "", 1, decimal),
    "kcal per serving": ("{} kcal per serving", " kcal", 1, decimal),
    "g net carbs per serving": ("{} g net carbs per serving", " g", 1, decimal),
})
"""Unit of an objective to its value in words, the unit of a difference, the scale and the rounding of both."""




def text(proposal: Proposal, scale_error: str | None = None, measures: bool = False) -> RenderableType:
    """A solved dish at a glance, with the sections that are asked for."""
    recipe = proposal.recipe
    return Group(
        headline(recipe.title, "solved", GOOD),
        Text(f"{batch_line(recipe, proposal.facts)}, {PREFERRED[proposal.prefer]}:"),
        Text(objective_line(proposal.objective), QUIET),
        *([Text(best, QUIET)] if (best := best_line(proposal.weights, proposal.exact)) else []),
        section("Weights for the batch", weights_table(proposal.weights)),
        *could_be_section(proposal),
        serving_section(proposal),
        *limits_section(proposal.limits, saved_unit(proposal), *prices_note(proposal)),
        *bench_sections(proposal, scale_error, measures),
        notes(recipe, allergens_of(proposal), proposal.warnings, proposal.cautions),
    )


def limits_section(states: Sequence[LimitState], unit: str, *notes: RenderableType) -> tuple[RenderableType, ...]:
    """The limits that have a line, with what is said of them; nothing where there is none."""
    if not any(told(state) for state in states):
        return ()
    return (section("Limits, from binding to loose", limits_table(states, unit), *notes),)


def could_be_section(proposal: Proposal) -> tuple[RenderableType, ...]:
    """What each weight could be, where the table of weights has no room for it."""
    words = could_be_lines(proposal.weights)
    if not words or could_be_fits(proposal.weights):
        return ()
    return (section("Could be, g (the others following)", Text(words, QUIET)),)


def objective_line(objective: Objective) -> str:
    """What was minimised, and how it is known to be the least: by exact arithmetic, or by the solver's search alone."""
    words, unit, times, size = OBJECTIVES[objective.unit]
    value = words.format(size(objective.value * times, 2))
    if objective.proven:
        within = objective.resolution * times
        least = "proven the least" if objective.proof == "exact" else "the least by search"
        return f"{value}, {least}" + (f" to within {short(within, 6)}{unit}" if within else "")
    gap = decimal(max(Fraction(0), objective.value - objective.bound) * times, 2)
    return f"{value}, at most {gap}{unit} above the least"


def saved_unit(proposal: Proposal) -> str:
    """Unit of what loosening a limit saves; nothing where it is not known how far a price holds."""
    return "" if proposal.confidence else proposal.objective.unit


def prices_note(proposal: Proposal) -> tuple[Text, ...]:
    """Where the savings come from when the weights are on the steps."""
    if proposal.exact or proposal.confidence or not any(state.price for state in proposal.limits):
        return ()
    return (Text("Savings are those of the weights between the steps (--exact).", QUIET),)


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
        prices="tangents of the confidence" if proposal.confidence else "linear programme",
        weights=[weight_data(weight) for weight in proposal.weights],
        per_serving=facts_data(proposal.facts, proposal.limits),
        unknown=unknown_data(proposal.facts),
        limits=[limit_data(state) for state in proposal.limits],
        diagnosis=None,
        certificate={
            "shortfall": plain(proposal.certificate.shortfall),
            "gap": plain(proposal.certificate.gap),
        },
        **allergen_data(proposal),
    ) | bench_data(proposal, scale_error)


def rows(proposal: Proposal) -> Rows:
    """A row an ingredient."""
    return with_caution(WEIGHT_COLUMNS, map(weight_data, proposal.weights), proposal)
