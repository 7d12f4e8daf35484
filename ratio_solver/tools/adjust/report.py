"""The adjusted bowl: as text for a terminal of 80 columns, as plain data, as rows of a CSV."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from ratio_solver.exact import ZERO, exact
from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    STRONG,
    Block,
    Cell,
    Text,
    allergens_of,
    batch_line,
    bound_words,
    headline,
    limit_words,
    notes,
    section,
    table_of,
)
from ratio_solver.output.dish_text import (
    bound_at,
    facts_data,
    limits_section,
    serving_section,
    weight_data,
    with_caution,
)
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, plain, ratio, short, weight
from ratio_solver.recipe.model import RATIO, Ingredient
from ratio_solver.solving.result import Proposal
from ratio_solver.tools.adjust.compute import Adjustment
from ratio_solver.tools.adjust.remedies import Remedy
from ratio_solver.tools.solve.impossible import conflict_section, steps_line
from ratio_solver.tools.solve.relaxation_words import undecided_sentence

CHANGE_COLUMNS = ("change", "name", "sense", "from", "to", "unit")
"""One change of a way out."""
WAY_COLUMNS = ("remedy", *CHANGE_COLUMNS, "words", "ratio", "net_carbs_g")
UNFINISHED = "\nThe time was up (--time-limit) before every way out was tried: there may be others."
BOWL_HEADINGS = (("ingredient", "left"), ("planned g", "right"), ("now g", "right"), ("to add", "right"), ("", "left"))


def text(found: Adjustment) -> Block:
    """What to weigh in now; or why no weights will do, and what would."""
    answer = found.result
    if isinstance(answer, Proposal):
        return _adjusted_dish(found, answer)
    ways = [cells for number, remedy in enumerate(found.remedies, 1)
            for cells in ((str(number), Text(remedy_words(remedy, found))), ("", Text(cost_words(remedy), QUIET)))]
    diagnosis = answer.diagnosis
    return (
        headline(answer.recipe.title, f"{answer.outcome} with this bowl", BAD),
        Text(_bowl_line(found)),
        # A bowl is on a scale: weights between the steps are no way out of it.
        *([Text(undecided_sentence(replace(diagnosis, between=())))] if diagnosis.undecided else
          [*steps_line(diagnosis), conflict_section(diagnosis)]),
        section("What would do (--take N makes it so)", table_of((("", "right"), ("", "left")), ways, header=False))
        if ways else Text("\nNeither more servings, nor more fat, nor easing limits would do." if not found.unfinished
                          else ""),
        *([Text(UNFINISHED, QUIET)] if found.unfinished else []),
        notes(answer.recipe, None, answer.warnings, answer.cautions),
    )


def _adjusted_dish(found: Adjustment, proposal: Proposal) -> Block:
    recipe = proposal.recipe
    return (
        headline(recipe.title, f"adjusted: {remedy_words(found.taken, found)}" if found.taken else "adjusted", GOOD),
        Text(_bowl_line(found)),
        Text(plan_line(proposal)),
        section("Weights for the batch", table_of(BOWL_HEADINGS, _weight_rows(found, proposal))),
        serving_section(proposal),
        *limits_section([state for state in proposal.limits if state.limit.kind != "ingredient"]),
        notes(recipe, allergens_of(proposal), proposal.warnings, proposal.cautions),
    )


def plan_line(proposal: Proposal) -> str:
    """The servings of an adjusted dish, and how far it is from the plan."""
    moved = decimal(proposal.objective.value, 2)
    return f"{batch_line(proposal.recipe, proposal.facts)}, {moved} g moved from the plan"


def _weight_rows(found: Adjustment, proposal: Proposal) -> Iterator[tuple[Cell, ...]]:
    inside = {**found.added, **found.weighed}
    for plan, item, ingredient in zip(found.plan, proposal.weights, found.recipe.ingredients, strict=True):
        grams = inside.get(item.ingredient)
        if plan or item.grams or grams:
            left = item.grams - (grams or ZERO)
            state = bound_at(item) if grams is None else \
                f"{weight(grams)} in the bowl{_pieces_added(left, ingredient)}"
            yield (Text(item.ingredient), weight(plan), Text(weight(item.grams), STRONG),
                   f"+{weight(left)}" if left else "·", Text(state, QUIET))


def _pieces_added(added: Fraction, ingredient: Ingredient) -> str:
    """" and 2 pieces" where what is added is in whole pieces."""
    count = added / exact(ingredient.piece) if ingredient.piece else ZERO
    return f" and {short(count)} piece{'' if count == 1 else 's'}" if count and count.denominator == 1 else ""


def _bowl_line(found: Adjustment) -> str:
    inside = [f"{label} {weight(grams)} g" for label, grams in {**found.weighed, **found.added}.items()]
    line = f"In the bowl: {', '.join(inside) or 'nothing yet'}."
    if found.planned:
        return line
    none = "No answer to the recipe as written was found in the time" if found.answer.outcome == "undecided" else \
        "The recipe has no answer as written"
    return f"{line} {none}: its starts are the plan."


def _changes_of(remedy: Remedy, found: Adjustment) -> Iterator[tuple[Data, str]]:
    """Each change of a way out, in `CHANGE_COLUMNS`, and as one says it."""
    def row(*cells: object) -> Data:
        return dict(zip(CHANGE_COLUMNS, cells, strict=False))

    for label, most, grams in remedy.raised:
        more = f"{weight(grams - most)} g"
        yield (row("use more", label, "<=", plain(most), plain(grams), "g"),
               f"add {more} of {label}" if label in found.weighed else
               f"use {weight(grams)} g of {label}, {more} above its maximum")
    if remedy.servings is not None:
        yield (row("make more servings", "servings", None, found.recipe.servings, remedy.servings),
               f"make {remedy.servings} servings")
    for limit, value in remedy.eased:
        name = "a ratio" if limit.nutrient == RATIO else limit.name
        yield (row("ease a limit", limit.name, limit.sense, plain(limit.bound), plain(value), limit.unit),
               f"accept {name} of {bound_words(replace(limit, bound=value))} instead of {bound_words(limit)}")
    if not (remedy.raised or remedy.servings or remedy.eased):
        yield row("solve again"), "solve it again"


def remedy_words(remedy: Remedy, found: Adjustment) -> str:
    """A way out as one says it: "add 9 g of butter and make 7 servings"."""
    return " and ".join(words for _, words in _changes_of(remedy, found))


def cost_words(remedy: Remedy) -> str:
    """What the dish of a way out is."""
    facts = remedy.proposal.facts
    asked = [state for state in remedy.proposal.limits if state.limit.nutrient == RATIO]
    return (f"{batch_line(remedy.proposal.recipe, facts)}, {ratio(facts.ratio, asked)}, "
            f"{decimal(facts.amounts['net_carbs_g'], 2)} g net carbs, {short(facts.amounts['energy_kcal'], 0)} kcal")


def data(found: Adjustment) -> Data:
    """The keys of `solve`, what is in the bowl, the plan and the ways out."""
    labels = [ingredient.label for ingredient in found.recipe.ingredients]
    return found.result.to_dict() | {
        "planned": found.planned,
        "plan": {label: plain(grams) for label, grams in zip(labels, found.plan, strict=True)},
        "weighed": {label: plain(grams) for label, grams in found.weighed.items()},
        "added": {label: plain(grams) for label, grams in found.added.items()},
        "unfinished": found.unfinished,
        "remedies": [_remedy_data(remedy, found) for remedy in found.remedies],
    }


def _remedy_data(remedy: Remedy, found: Adjustment) -> Data:
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


def rows(found: Adjustment) -> Rows:
    """The weights, a row each; where there are none, what cannot be kept together and each step of each way out."""
    answer = found.result
    if isinstance(answer, Proposal):
        weighed: Rows = answer.reports().rows(answer)
        return weighed
    lines: list[Data] = [
        {"change": "in conflict", "name": limit.name, "sense": limit.sense, "from": plain(limit.bound),
         "unit": limit.unit, "words": limit_words(limit)} for limit in answer.diagnosis.conflict]
    for number, remedy in enumerate(found.remedies, 1):
        facts = facts_data(remedy.proposal.facts, remedy.proposal.limits)
        lines += [{**change, "remedy": number, "words": remedy_words(remedy, found), "ratio": facts["ratio"],
                   "net_carbs_g": facts["net_carbs_g"]} for change, _ in _changes_of(remedy, found)]
    return with_caution(WAY_COLUMNS, lines, answer)
