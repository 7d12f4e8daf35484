"""What is told of a recipe without an answer: text for a terminal of 80 columns, JSON and CSV."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from fractions import Fraction

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ratio_solver.dish.constraints import Limit, prescribed
from ratio_solver.dish.notices import allergens_of_food
from ratio_solver.output.blocks import BAD, QUIET, STRONG, grid, headline, limit_words, notes, section
from ratio_solver.output.dish_data import dish_data, with_caution
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, plain, short, weight
from ratio_solver.solving.result import CuringFat, Diagnosis, Impossible, Repair
from ratio_solver.tools.scale_error.sections import bench_data, bench_sections
from ratio_solver.tools.solve.relaxation_words import asked, empty_sentence, listed, sentence, steps_sentence, told

CONFLICT = "These cannot be kept together; without any one of them the others here can"
CONFLICT_OF_ONE = "This cannot be kept"
CONFLICT_OPEN = "These cannot be kept together; some of them may do (a search for that ended at its limit)"
CONFLICT_NOTE = "The recipe's other limits may still be in the way: another conflict may remain."
ORDER = "The recipe's own limits are moved first, what may be prescribed last."
PRESCRIBED = "A ratio, net carbs or protein that are prescribed are changed only by those who prescribe them."

REMEDY_COLUMNS = ("cures", "limit", "kind", "sense", "from", "to", "unit", "words")


def text(answer: Impossible, scale_error: str | None = None, measures: bool = False) -> RenderableType:
    """Why no weights satisfy the limits; no number here looks like an answer."""
    diagnosis = answer.diagnosis
    return Group(
        headline(answer.recipe.title, "impossible", BAD),
        Text(sentence(diagnosis)),
        *steps_line(diagnosis),
        *([Text(empty_sentence(diagnosis))] if diagnosis.empty else []),
        *proof_line(diagnosis),
        *([conflict_section(diagnosis)] if diagnosis.conflict else []),
        *_changes(diagnosis), *_reach(answer), *_fats(diagnosis),
        *bench_sections(answer, scale_error, measures),
        notes(answer.recipe, None, answer.warnings, answer.cautions),
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


def _changes(diagnosis: Diagnosis) -> list[RenderableType]:
    parts: list[RenderableType] = []
    if diagnosis.repairs:
        heading = ("Any one of these changes cures it, the most modest first" if len(diagnosis.repairs) > 1
                   else "This change alone cures it")
        parts.append(section(heading, repairs_table(diagnosis.repairs), *_whose(diagnosis.repairs)))
        if diagnosis.stuck:
            names = listed([limit.name for limit in diagnosis.stuck])
            parts.append(section("No change of these alone cures it", Text(names)))
    elif diagnosis.joint_repair:
        together = len(diagnosis.joint_repair) > 1
        heading = "No change of one of them cures it; " + ("these together do" if together else "this does")
        order = [Text(ORDER, QUIET)] if together else []
        parts.append(section(heading, repairs_table(diagnosis.joint_repair), *order,
                             *_whose(diagnosis.joint_repair)))
    return parts


def _whose(repairs: Sequence[Repair]) -> list[RenderableType]:
    """Who may make a change of what a diet prescribes."""
    return [Text(PRESCRIBED, STRONG)] if any(prescribed(repair.limit) for repair in repairs) else []


def repairs_table(repairs: Sequence[Repair]) -> Table:
    """Each change as an order, and how large it is beside the limit."""
    table = grid(("change", "left"), ("moves by", "right"))
    for repair in repairs:
        table.add_row(Text(told(repair)), f"{share(repair.relative)} %" if repair.limit.bound else "")
    return table


def share(value: Fraction) -> str:
    """A share as a per cent, small ones with so many decimals that they are seen.

    >>> share(Fraction(3)), share(Fraction(1, 1234))
    ('300', '0.081')
    """
    percent = value * 100
    if percent >= 10:
        return short(percent, 0)
    return short(percent, max(1, 1 - math.floor(math.log10(percent)))) if percent else "0"


def _reach(answer: Impossible) -> list[RenderableType]:
    """The best ratio and the least net carbs within the other limits, never rounded into a claim."""
    diagnosis = answer.diagnosis
    lines: list[RenderableType] = []
    if diagnosis.best_ratio is not None:
        cut = Fraction(math.floor(diagnosis.best_ratio * 100), 100)
        lines.append(Text.assemble("best ratio  ", (f"{decimal(cut, 2)}:1", STRONG),
                                   answer.recipe.policy.formula))
    if diagnosis.least_net_carbs is not None:
        up = Fraction(math.ceil(diagnosis.least_net_carbs * 100), 100)
        lines.append(Text.assemble("least net carbs  ", (f"{decimal(up, 2)} g per serving", STRONG)))
    heading = "Within reach of a dish that is not empty" if diagnosis.empty else \
        "Within reach when all the other limits are kept"
    return [section(heading, *lines)] if lines else []


def _fats(diagnosis: Diagnosis) -> list[RenderableType]:
    if diagnosis.fats is None:
        return []
    if not diagnosis.fats:
        return [section("One more fat", Text("no fat of the table cures it as one more ingredient, with no more of it "
                                             "than a person may eat", QUIET))]
    return [section("Or one more fat in the batch, the fewest grams first", fats_table(diagnosis.fats))]


def fats_table(fats: Sequence[CuringFat]) -> Table:
    """Foods with the least grams that cure, and what they may do to a guest."""
    table = grid(("fat", "left"), ("at least g", "right"), ("allergens", "left"))
    for addition in fats:
        table.add_row(Text(addition.food.name), weight(addition.grams), Text(allergens_of_food(addition.food)))
    return table


def data(answer: Impossible, scale_error: str | None = None) -> Data:
    """The same in the keys of the JSON of `solve`: a stable interface, added to and never renamed."""
    return dish_data(answer, outcome=answer.outcome, prefer=answer.prefer, objective=None, weights=[],
                     per_serving=None, limits=[], diagnosis=diagnosis_data(answer.diagnosis)
                     ) | bench_data(answer, scale_error)


def diagnosis_data(diagnosis: Diagnosis) -> Data:
    """Why there is no answer."""
    return {
        "conflict": [limit.name for limit in diagnosis.conflict],
        "steps": diagnosis.steps,
        "limits": [
            {"name": limit.name, "kind": limit.kind, "sense": limit.sense, "limit": plain(limit.bound),
             "unit": limit.unit}
            for limit in diagnosis.conflict
        ],
        **remedy_data(diagnosis),
    }


def remedy_data(diagnosis: Diagnosis) -> dict[str, object]:
    """What would cure, beside the conflict itself."""
    return {
        "sentence": sentence(diagnosis),
        "proven": diagnosis.proven,
        "minimal": diagnosis.minimal,
        "empty_dish": diagnosis.empty,
        "repairs": [repair_data(repair) for repair in diagnosis.repairs],
        "stuck": [limit.name for limit in diagnosis.stuck],
        "joint_repair": [repair_data(repair) for repair in diagnosis.joint_repair],
        "best_ratio": plain(diagnosis.best_ratio),
        "least_net_carbs": plain(diagnosis.least_net_carbs),
        "stepped": [{"ingredient": one.ingredient, "grams": plain(one.grams), "piece": one.piece}
                    for one in diagnosis.stepped],
        "fats": None if diagnosis.fats is None else [addition_data(addition) for addition in diagnosis.fats],
    }


def repair_data(repair: Repair) -> dict[str, object]:
    """One limit moved; `from` and `to` as they are written in the recipe file."""
    limit = repair.limit
    return {
        "limit": limit.name, "kind": limit.kind, "sense": limit.sense,
        "from": plain(limit.bound), "to": plain(repair.to), "unit": limit.unit,
        "relative": plain(repair.relative) if limit.bound else None,
        "words": told(repair),
    }


def addition_data(addition: CuringFat) -> dict[str, object]:
    """One food added, g for the batch."""
    food = addition.food
    return {"food": food.name, "id": food.id, "grams": plain(addition.grams),
            "allergens": None if food.allergens is None else list(food.allergens),
            "allergens_complete": not food.allergens_unknown}


def rows(answer: Impossible) -> Rows:
    """A row for each thing that cures alone or together with others, and for each limit that does not."""
    return with_caution(REMEDY_COLUMNS, remedy_rows(answer.diagnosis), answer)


def remedy_rows(diagnosis: Diagnosis) -> Iterator[dict[str, object]]:
    """A line for each thing that cures alone or together with others, and for each limit that does not."""
    for cures, repairs in (("alone", diagnosis.repairs), ("together", diagnosis.joint_repair)):
        for repair in repairs:
            yield {**repair_data(repair), "cures": cures}
    for addition in diagnosis.fats or ():
        yield {"cures": "alone", "limit": addition.food.name, "kind": "added", "sense": ">=", "from": 0.0,
               "to": plain(addition.grams), "unit": "g",
               "words": f"add at least {float(addition.grams):g} g of {addition.food.name}"}
    if diagnosis.empty:
        yield {"cures": "not known", "kind": "empty dish",
               "words": f"{sentence(diagnosis)} {empty_sentence(diagnosis)}"}
    for limit in diagnosis.stuck:
        yield {"cures": "not alone", **_limit(limit)}


def _limit(limit: Limit) -> dict[str, object]:
    return {"limit": limit.name, "kind": limit.kind, "sense": limit.sense, "from": plain(limit.bound), "to": None,
            "unit": limit.unit, "words": asked(limit)}
