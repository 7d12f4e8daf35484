"""A day, or several: portions, totals, pots and problems; text, JSON and CSV."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import groupby
from typing import TYPE_CHECKING

from ratio_solver.day.limits import DayLimit
from ratio_solver.day.words import change_in_words, conflict_in_words, limit_in_words, where
from ratio_solver.dish.cautions import PRESCRIBERS, in_a_cell
from ratio_solver.dish.nutrition import cooked_batch
from ratio_solver.exact import exact
from ratio_solver.foods.nutrients import CARBS, ENERGY, FAT, FIBRE, NET_CARBS, PROTEIN
from ratio_solver.foods.quantities import RATIOS, UNIT_TABLE
from ratio_solver.lp.infeasible import LARGE
from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    STRONG,
    Block,
    Cell,
    Text,
    caution_lines,
    headline,
    section,
    table_of,
)
from ratio_solver.output.dish_text import actual_text, at_least
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, plain, ratio, short, short_weight, visible
from ratio_solver.recipe.model import RATIO
from ratio_solver.solving.result import Diagnosis
from ratio_solver.tools.solve.impossible import left_out_lines
from ratio_solver.tools.solve.relaxation_words import listed, nearest_section, sides_of, value_words

if TYPE_CHECKING:
    from ratio_solver.day.result import DayAnswer, Days, Eaten, PotFilled
    from ratio_solver.dish.status import LimitState
    from ratio_solver.solving.result import Nearest, Repair

PORTION_COLUMNS = ("day", "person", "meal", "what", "beside", "grams", "usual_g", "allergens", "warnings", "caution")
TOTAL_COLUMNS = ("day", "person", "meal", "figure", "sense", "target", "at_least", "actual", "slack", "unit", "binding",
                 "price", "reckoned", "caution")
POT_COLUMNS = ("day", "dish", "ingredient", "food", "was_g", "batch_g", "batches", "total_g", "served_g", "left_g",
               "weighed", "proven")
PROBLEM_COLUMNS = ("day", "what", "limit", "sense", "from", "to", "unit", "words", "proven")
USUAL_FIGURES = (ENERGY, FAT, PROTEIN, CARBS, FIBRE, NET_CARBS)
DAY_ROW = "day"
AS_IT_GOES_IN, COOKED = "as it goes in", "cooked"
MOST_SAVINGS = 6


def text(found: DayAnswer | Days) -> Block:
    """Each day: everyone's portions and what they come to, the pots; or why there are none."""
    return (*(_day_block(answer) for answer in found.days), Text(PRESCRIBERS, STRONG),
            *caution_lines(found.cautions))


def _day_block(answer: DayAnswer) -> Block:
    return (
        headline(answer.day.title, answer.outcome, GOOD if answer.outcome == "solved" else BAD),
        *([Text(_objective(answer))] if answer.had else []),
        *_problem_sections(answer),
        *(_person_section(answer, person) for person in dict.fromkeys(had.person for had in answer.had)),
        *_pot_sections(answer), Text(""))


def _objective(answer: DayAnswer) -> str:
    """How far from the usual portions, and how surely that is the least."""
    where = "from the usual portions" if not answer.together else "in all dishes and beside them"
    sure = "proven the least" if answer.proven else f"at least {short(answer.least, 1)} g, not proven the least"
    energy = "; energy is the tables' own, not 9/4/4" if answer.day.policy.energy == "table" else ""
    priced = not answer.exact and any(state.price for state in answer.states)
    between = " Savings are those of the weights between the steps (--exact)." if priced else ""
    return f"{short(answer.moved, 1)} g moved {where}, {sure}. Figures: {_reckoned(answer)}{energy}.{between}"


def _reckoned(answer: DayAnswer) -> str:
    """How the figures are reckoned: by the policy, and what the people's targets count beside it."""
    return answer.day.policy.described(target.nutrient for person in answer.day.people for target in person.targets)


def _own_formula(answer: DayAnswer, person: int) -> str:
    """The formula of somebody's ratio in words, where it is another than the day's."""
    own, days = answer.day.people[person].policy.ratio_formula, answer.day.policy.ratio_formula
    return "" if own == days else f"  ({RATIOS[own].reckoned})"


def _person_section(answer: DayAnswer, person: int) -> Block:
    """What somebody has, what it comes to, and what holds it there."""
    whom = answer.day.people[person]
    eaten = [one for one in answer.eaten if one.person == person]
    day = eaten[-1]
    savings = list(_savings(answer, person))
    limits: list[Block] = [] if not savings else [Text(""), table_of(
        (("limit", "left"), ("is", "right"), ("looser by", "right"), ("saves g", "right")), savings)]
    return section(
        f"{whom.name}{_own_formula(answer, person)}",
        table_of((("", "left"), ("", "left"), ("g", "right"), ("usual g", "right")), _portion_rows(answer, person)),
        Text(""),
        table_of((("", "left"), ("kcal", "right"), ("fat g", "right"), ("protein g", "right"), ("net carbs g", "right"),
                  ("ratio", "right")), (_total_row(answer, one) for one in eaten)),
        *limits,
        *_costs(answer, person),
        Text.assemble("Allergens: ", (day.allergens, STRONG)),
        *(Text(f"Note: {warning}.", "yellow") for warning in day.warnings))


def _portion_rows(answer: DayAnswer, person: int) -> Iterator[Sequence[Cell]]:
    own = (had for had in answer.had if had.person == person)
    for meal, members in groupby(own, key=lambda had: had.meal):
        for place, had in enumerate(one for one in members if one.grams or not one.beside):
            yield (Text("" if place else answer.day.meals[meal].name, STRONG), Text(had.name),
                   Text(short_weight(had.grams), STRONG), short_weight(had.usual))


def _total_row(answer: DayAnswer, one: Eaten) -> Sequence[Cell]:
    amounts = one.facts.amounts
    name = DAY_ROW if one.meal is None else answer.day.meals[one.meal].name
    return (Text(name, STRONG if one.meal is None else ""),
            *(f"{at_least(one.facts, column)}{decimal(amounts[column], 0 if column == ENERGY else 1)}"
              for column in (ENERGY, FAT, PROTEIN, NET_CARBS)),
            "all fat" if one.facts.ratio is None else ratio(one.facts.ratio, _states(answer, one, "ratio")))


def _states(answer: DayAnswer, one: Eaten, nutrient: str | None = None) -> list[LimitState]:
    """How the limits on what somebody eats at a meal stand."""
    name = "" if one.meal is None else answer.day.meals[one.meal].name
    return [state for state in answer.states if isinstance(state.limit, DayLimit) and one.person in state.limit.people
            and state.limit.kind == "target" and state.limit.meal == name
            and nutrient in (None, state.limit.nutrient)]


def _savings(answer: DayAnswer, person: int) -> Iterator[Sequence[Cell]]:
    """The limits of somebody that cost most, with what loosening them saves."""
    found = []
    for state in answer.states:
        limit = state.limit
        unit = UNIT_TABLE[limit.unit]
        if isinstance(limit, DayLimit) and person in limit.people and limit.kind == "target" and state.price and \
                unit.loosening_words:
            shown = unit.loosening * unit.times
            words = unit.loosening_words.format(short(Fraction(repr(shown)), 6), "" if shown == 1 else "s")
            found.append((abs(state.price) * unit.loosening, state, words))
    for saved, state, words in sorted(found, key=lambda one: -one[0])[:MOST_SAVINGS]:
        yield Text(limit_in_words(state.limit, own=True)), actual_text(state), words, visible(Fraction(saved), 1)


def _costs(answer: DayAnswer, person: int) -> Iterator[Block]:
    """Where dishes are solved together: in which of them the limits of somebody cost what they cost."""
    if not answer.together:
        return
    for state in answer.states:
        limit = state.limit
        if isinstance(limit, DayLimit) and person in limit.people and limit.kind == "target" and state.price:
            parts = [f"{visible(Fraction(abs(cost)), 1)} g in {dish}" for dish, cost in answer.costs_of(limit)[:3]]
            if len(parts) > 1:
                unit = limit.unit.removeprefix(":")
                yield Text(f"1 {unit} of {limit_in_words(limit, own=True)} moves {', '.join(parts)}.", QUIET)


def _pot_sections(answer: DayAnswer) -> Iterator[Block]:
    if not answer.pots:
        return
    yield section("Pots", table_of(
        (("dish", "left"), ("batches", "right"), ("batch g", "right"), ("served g", "right"), ("left g", "right")),
        ((Text(pot.pot.recipe.title), str(pot.batches), short(pot.grams, 1), short(pot.served, 1), short(pot.left, 1))
         for pot in answer.pots)))
    raw = [pot.pot.recipe.title for pot in answer.pots if _weighed_when(pot) == AS_IT_GOES_IN]
    if raw:
        names = ", ".join(raw)
        yield Text(f"Weighed as it goes in: {names}. No finished weight is told (finished_grams, cooking_loss): of "
                   "a pot that loses water in the heat, take the same share of what it weighs then.", "yellow")
    if unproven := [pot.pot.recipe.title for pot in answer.pots if not pot.proven]:
        yield Text("Not proven in the time (--time-limit) to be as close to the start as the limits allow: the "
                   f"weights of {listed(unproven)}.", "yellow")
    for pot in answer.pots if answer.together else ():
        rows = [(Text(item.label), short_weight(exact(item.start)), Text(short_weight(weight), STRONG))
                for item, weight in zip(pot.pot.recipe.ingredients, pot.weights, strict=True)
                if weight != exact(item.start)]
        if rows:
            yield section(f"{pot.pot.recipe.title}: one batch, what moves", table_of(
                (("ingredient", "left"), ("was g", "right"), ("now g", "right")), rows))


def _weighed_when(pot: PotFilled) -> str:
    """Whether a dish's portions are weights of the finished dish, or of what goes into it."""
    return AS_IT_GOES_IN if cooked_batch(pot.pot.recipe, pot.weights) is None else COOKED


def _problem_sections(answer: DayAnswer) -> Iterator[Block]:
    """Why there is no answer, and what would cure it."""
    for dish in answer.dishes:
        yield Text(f"{dish.recipe.title} has no weights that keep its own limits; solve {dish.recipe.source} says why.")
    for block, diagnosis in answer.answers:
        if not isinstance(diagnosis, Diagnosis):
            continue
        yield Text(conflict_in_words(diagnosis, answer.together), BAD)
        if diagnosis.undecided:
            continue
        yield Text("Proven in exact arithmetic." if diagnosis.proven else "Found by search, not proven in exact "
                   "arithmetic.", QUIET)
        yield section("These cannot be kept together", *(Text(limit_in_words(limit)) for limit in diagnosis.conflict))
        if diagnosis.nearest:
            yield nearest_section(block.recipe, diagnosis.nearest)
        changes, alone = diagnosis.repairs or diagnosis.joint_repair, bool(diagnosis.repairs)
        between = [] if answer.exact or diagnosis.steps or len(block.sparse) < LARGE else [
            Text("Looked for between the steps of the scale, as there are very many limits.", QUIET)]
        if changes:
            yield section("Any one of these changes cures it" if alone and len(changes) > 1 else
                          "This change cures it" if len(changes) == 1 else "These changes together cure it",
                          *(Text(change_in_words(change)) for change in changes), *between,
                          Text("What is prescribed is changed only by those who prescribe it.", STRONG))
        if diagnosis.best_ratio is not None and (limit := _reached(diagnosis)) is not None:
            cut = Fraction(math.floor(diagnosis.best_ratio * 100), 100)
            yield Text.assemble(f"Best within the other limits {where(limit)}: ", (f"{decimal(cut, 2)}:1", STRONG))
        yield from left_out_lines(diagnosis, limit_in_words)


def _reached(diagnosis: Diagnosis) -> DayLimit | None:
    """The ratio that the best reachable one is of."""
    return next((limit for limit in diagnosis.conflict if isinstance(limit, DayLimit) and limit.least_ratio), None)


def data(found: DayAnswer | Days) -> Data:
    """The same in the keys of the command's JSON."""
    return {"outcome": found.outcome, "days": [_day_data(answer) for answer in found.days],
            "cautions": list(found.cautions)}


def _day_data(answer: DayAnswer) -> Data:
    return {
        "day": answer.day.title,
        "outcome": answer.outcome,
        "mode": "together" if answer.together else "serve",
        "objective": None if not answer.had else {"value": plain(answer.moved), "unit": "g moved",
                                                  "bound": plain(answer.least), "proven": answer.proven},
        "policy": _reckoned(answer),
        "portions": [_without_caution(row) for row in portion_rows(answer)],
        "totals": [_without_caution(row) for row in total_rows(answer)],
        "pots": list(pot_rows(answer)),
        "problems": list(problem_rows(answer)),
        "sentences": [conflict_in_words(diagnosis, answer.together) for diagnosis in answer.diagnoses],
    }


def _without_caution(row: Data) -> Data:
    return {key: value for key, value in row.items() if key not in ("caution", "day")}


def rows(found: DayAnswer | Days) -> Rows:
    """The portions: a row for each person, meal and dish or food."""
    return PORTION_COLUMNS, (row for answer in found.days for row in portion_rows(answer))


def portion_rows(answer: DayAnswer) -> Iterator[Data]:
    """A row for each person, meal and dish or food."""
    day = {one.person: one for one in answer.eaten if one.meal is None}
    caution = _caution(answer)
    for had in answer.had:
        eaten = day[had.person]
        yield {"day": answer.day.title, "person": answer.day.people[had.person].name,
               "meal": answer.day.meals[had.meal].name, "what": had.name, "beside": had.beside,
               "grams": plain(had.grams), "usual_g": plain(had.usual),
               "allergens": eaten.allergens, "warnings": "; ".join(eaten.warnings), "caution": caution}


def _caution(answer: DayAnswer) -> str:
    return f"{PRESCRIBERS} {in_a_cell(answer.cautions)}"


def total_rows(answer: DayAnswer) -> Iterator[Data]:
    """A row for each figure of a person's meals and day: what it is, and where it is limited how that stands."""
    caution = _caution(answer)
    for one in answer.eaten:
        reckoned = RATIOS[answer.day.people[one.person].policy.ratio_formula].reckoned
        base = {"day": answer.day.title, "person": answer.day.people[one.person].name,
                "meal": DAY_ROW if one.meal is None else answer.day.meals[one.meal].name, "caution": caution}
        limited = _states(answer, one)
        for state in limited:
            limit = state.limit
            yield base | {"figure": limit.subject.words or limit.nutrient, "sense": limit.sense,
                          "target": plain(limit.bound), "at_least": bool(at_least(one.facts, limit.nutrient)),
                          "actual": plain(state.actual), "slack": plain(state.slack), "unit": limit.unit,
                          "binding": state.binding, "price": state.price,
                          "reckoned": reckoned if limit.nutrient == RATIO else None}
        seen = {state.limit.nutrient for state in limited}
        for column in USUAL_FIGURES:
            if column not in seen and column in one.facts.amounts:
                yield base | {"figure": column, "at_least": bool(at_least(one.facts, column)),
                              "actual": plain(one.facts.amounts[column])}
        if RATIO not in seen:
            yield base | {"figure": RATIO, "actual": plain(one.facts.ratio), "unit": ":1", "reckoned": reckoned}


def pot_rows(answer: DayAnswer) -> Iterator[Data]:
    """A row for each dish, then for each of its ingredients."""
    for pot in answer.pots:
        base = {"day": answer.day.title, "dish": pot.pot.recipe.title, "batches": pot.batches}
        yield base | {"batch_g": plain(pot.grams), "total_g": plain(pot.grams * pot.batches),
                      "served_g": plain(pot.served), "left_g": plain(pot.left),
                      "weighed": _weighed_when(pot), "proven": pot.proven}
        for item, weight in zip(pot.pot.recipe.ingredients, pot.weights, strict=True):
            yield base | {"ingredient": item.label, "food": item.food.name, "was_g": item.start,
                          "batch_g": plain(weight), "total_g": plain(weight * pot.batches)}


def problem_rows(answer: DayAnswer) -> Iterator[Data]:
    """A row for each limit of a conflict, for each change that cures it, and for what was not looked at to the end."""
    for dish in answer.dishes:
        yield {"day": answer.day.title, "what": "dish", "limit": dish.recipe.title,
               "words": "no weights keep its own limits"}
    for diagnosis in answer.diagnoses:
        yield {"day": answer.day.title, "what": "why", "words": conflict_in_words(diagnosis, answer.together),
               "proven": diagnosis.proven}
        for limit in diagnosis.conflict:
            yield {"day": answer.day.title, "what": "conflict", "limit": limit.name, "sense": limit.sense,
                   "from": plain(limit.bound), "unit": limit.unit, "words": limit_in_words(limit)}
        for what, changes in (("alone", diagnosis.repairs), ("together", diagnosis.joint_repair)):
            yield from (_change_row(answer, what, change) for change in changes)
        if diagnosis.nearest is not None:
            yield from _nearest_rows(answer, diagnosis.nearest)
        if diagnosis.best_ratio is not None and (reached := _reached(diagnosis)) is not None:
            yield {"day": answer.day.title, "what": "best reachable", "limit": reached.name, "unit": ":1",
                   "to": plain(diagnosis.best_ratio), "words": f"best ratio {where(reached)}"}
        for limit in diagnosis.left_out:
            yield {"day": answer.day.title, "what": "left out", "limit": limit.name, "words": limit_in_words(limit)}
        for words in diagnosis.left_out_also:
            yield {"day": answer.day.title, "what": "left out", "words": words}


def _nearest_rows(answer: DayAnswer, nearest: Nearest) -> Iterator[Data]:
    """What the steps reach on both sides of a band that they cannot meet."""
    limit = nearest.least
    for side, near in sides_of(nearest):
        if near is not None:
            yield {"day": answer.day.title, "what": f"nearest {side}", "limit": limit.name, "from": plain(limit.bound),
                   "to": plain(near.value), "unit": limit.unit, "words": value_words(limit, near.value),
                   "proven": nearest.proven}


def _change_row(answer: DayAnswer, what: str, change: Repair) -> Data:
    limit = change.limit
    return {"day": answer.day.title, "what": what, "limit": limit.name, "sense": limit.sense,
            "from": plain(limit.bound), "to": plain(change.to), "unit": limit.unit, "words": change_in_words(change)}

