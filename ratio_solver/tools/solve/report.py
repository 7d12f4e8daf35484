"""The report of `solve` for a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from types import MappingProxyType

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.dish.status import LimitState
from ratio_solver.exact import ZERO, exact
from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    allergens_of,
    batch_line,
    caution_lines,
    could_be_fits,
    grid,
    headline,
    limit_words,
    limits_table,
    notes,
    section,
    told,
    weights_table,
)
from ratio_solver.output.could_be import best_line, could_be_lines
from ratio_solver.output.numbers import decimal, short
from ratio_solver.output.serving import serving_section
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.result import Answer, Diagnosis, Impossible, Objective, Proposal
from ratio_solver.tools.solve.impossible_report import remedy_sections
from ratio_solver.tools.solve.relaxation_words import empty_sentence, sentence, steps_sentence

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

CONFLICT = "These cannot be kept together; without any one of them the others here can"
CONFLICT_OF_ONE = "This cannot be kept"
CONFLICT_OPEN = "These cannot be kept together; some of them may do (a search for that ended at its limit)"
CONFLICT_NOTE = "The recipe's other limits may still be in the way: another conflict may remain."

def answer_report(answer: Answer, *extra: RenderableType) -> RenderableType:
    """The outcome, weights, facts and limits, with sections that were asked for; or why there are none."""
    return proposal_report(answer, *extra) if isinstance(answer, Proposal) else impossible_report(answer)


def proposal_report(proposal: Proposal, *extra: RenderableType) -> RenderableType:
    """A solved dish at a glance."""
    recipe = proposal.recipe
    return Group(
        headline(recipe.title, "solved", GOOD),
        Text(f"{batch_line(recipe, proposal.facts, serving_at_start(recipe))}, {PREFERRED[proposal.prefer]}:"),
        Text(objective_line(proposal.objective), QUIET),
        *([Text(best, QUIET)] if (best := best_line(proposal.weights, proposal.exact)) else []),
        section("Weights for the batch", weights_table(proposal.weights)),
        *could_be_section(proposal),
        serving_section(proposal),
        *limits_section(proposal.limits, saved_unit(proposal), *prices_note(proposal)),
        *extra,
        notes(recipe, allergens_of(proposal), proposal.warnings, proposal.cautions),
    )


def serving_at_start(recipe: Recipe) -> Fraction:
    """What a serving weighs as the recipe is written, g."""
    return sum(map(exact, recipe.starts), ZERO) / recipe.servings


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


def impossible_report(answer: Impossible) -> RenderableType:
    """Why no weights satisfy the limits; no number here looks like an answer."""
    diagnosis = answer.diagnosis
    return Group(
        headline(answer.recipe.title, "impossible", BAD),
        Text(sentence(diagnosis)),
        *steps_line(diagnosis),
        *([Text(empty_sentence(diagnosis))] if diagnosis.empty else []),
        *proof_line(diagnosis),
        *([conflict_section(diagnosis)] if diagnosis.conflict else []),
        *remedy_sections(answer),
        notes_without_figures(answer.recipe, answer),
    )


def conflict_section(diagnosis: Diagnosis) -> RenderableType:
    """The limits that cannot be kept, and what that does not say."""
    table = grid(("limit", "left"), ("asked for", "left"))
    for limit in diagnosis.conflict:
        table.add_row(Text(limit.name), limit_words(limit))
    heading = CONFLICT_OPEN if not diagnosis.minimal else CONFLICT if len(diagnosis.conflict) > 1 else CONFLICT_OF_ONE
    return section(heading, table, Text(CONFLICT_NOTE, QUIET))


def steps_line(diagnosis: Diagnosis) -> tuple[Text, ...]:
    """What comes in pieces or steps, where only that is in the way."""
    return (Text(steps_sentence(diagnosis)),) if diagnosis.steps else ()


def proof_line(diagnosis: Diagnosis) -> tuple[Text, ...]:
    """How surely there are no weights at all."""
    if not diagnosis.conflict:
        return ()
    searched = "Found by search on the steps" if diagnosis.steps else "Found by the solver's search"
    return (Text("Proven in exact arithmetic." if diagnosis.proven else
                 f"{searched}, not proven in exact arithmetic.", QUIET),)


def notes_without_figures(recipe: Recipe, answer: Impossible) -> Group:
    """Policy and cautions where no dish came out (so no allergens are stated)."""
    lines: list[RenderableType] = [Text(""), Text(f"Reckoned: {recipe.policy.described()}.", QUIET)]
    lines.extend(Text(f"Note: {warning}.", "yellow") for warning in answer.warnings)
    return Group(*lines, *caution_lines(answer.cautions))
