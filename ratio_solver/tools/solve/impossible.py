"""What is told of a recipe without an answer: text for a terminal of 80 columns, JSON and CSV."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from fractions import Fraction
from operator import attrgetter

from ratio_solver.dish.constraints import MORE, Limit
from ratio_solver.dish.notices import allergens_of_food
from ratio_solver.exact import cut_down
from ratio_solver.foods.quantities import SHARE
from ratio_solver.output.blocks import BAD, QUIET, STRONG, Block, Text, headline, limit_words, notes, section, table_of
from ratio_solver.output.dish_text import dish_data, with_caution
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, plain, short, weight
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.result import Diagnosis, Impossible, Repair
from ratio_solver.tools.scale_error.compute import bench_data, bench_sections
from ratio_solver.tools.solve.relaxation_words import (
    asked,
    empty_sentence,
    listed,
    nearest_data,
    nearest_section,
    sentence,
    steps_sentence,
    told,
    undecided_sentence,
    weights_data,
)

CONFLICT = "These cannot be kept together; without any one of them the others here can"
CONFLICT_OPEN = "These cannot be kept together; some of them may do (a search for that ended at its limit)"
CHANGES = {
    (True, True): "Any one of these changes cures it, the most modest first",
    (True, False): "This change alone cures it",
    (False, True): "No change of one of them cures it; these together do",
    (False, False): "No change of one of them cures it; this does",
}
"""Heading of what cures: whether each does alone, and whether there are several."""

TOGETHER_OPEN = {True: "These changes together cure it", False: "This change cures it"}
"""The same, by whether there are several, where it is not known whether a change of one limit alone does."""

ALL_FIXED = "Every ingredient is fixed: give those that may move a min and a max (draft --bounds 30 does)."
ORDER = "The recipe's own limits are moved first, what may be prescribed last, a least protein last of all."
NEARER_OPEN = "A smaller change of the band may do, too: not all the weights that the bounds allow were gone through."
PRESCRIBED = "A ratio{}, net carbs or protein that are prescribed are changed only by those who prescribe them."

REMEDY_COLUMNS = ("cures", "limit", "kind", "sense", "from", "to", "unit", "words")


def text(answer: Impossible, scale_error: str | None = None, measures: bool = False) -> Block:
    """Why no weights satisfy the limits; no number here looks like an answer."""
    diagnosis = answer.diagnosis
    if diagnosis.undecided:
        return _undecided(answer)
    reach = [Text.assemble(f"{what}  ", (figure, STRONG), formula) for what, figure, formula in reached(answer)]
    return (
        headline(answer.recipe.title, "impossible", BAD),
        Text(sentence(diagnosis)),
        *([] if any(item.adjustable for item in answer.recipe.ingredients) else [Text(ALL_FIXED, STRONG)]),
        *steps_line(diagnosis),
        *([Text(empty_sentence(diagnosis))] if diagnosis.empty else []),
        *([Text(proof(diagnosis), QUIET)] if diagnosis.conflict else []),
        *([nearest_section(answer.recipe, diagnosis.nearest)] if diagnosis.nearest else []),
        *([conflict_section(diagnosis)] if diagnosis.conflict else []),
        *_change_sections(diagnosis),
        *([section(reach_heading(diagnosis), *reach)] if reach else []),
        *_fats(diagnosis),
        *left_out_lines(diagnosis),
        *bench_sections(answer, scale_error, measures),
        notes(answer.recipe, None, answer.warnings, answer.cautions),
    )


def _undecided(answer: Impossible) -> Block:
    """That no weights were found in the time, and what is known."""
    return (
        headline(answer.recipe.title, "undecided", BAD),
        Text(undecided_sentence(answer.diagnosis)),
        *between_sections(answer),
        notes(answer.recipe, None, answer.warnings, answer.cautions),
    )


def between_sections(answer: Impossible) -> Iterator[Block]:
    """Weights between the steps that keep every limit, where it is not known whether any on the steps do."""
    if answer.diagnosis.undecided and answer.diagnosis.between:
        rows = [(Text(item.label), weight(grams)) for item, grams in
                zip(answer.recipe.ingredients, answer.diagnosis.between, strict=True) if item.adjustable]
        yield section("Between the steps these keep every limit",
                      table_of((("ingredient", "left"), ("g", "right")), rows))


def left_out_lines(diagnosis: Diagnosis, called: Callable[[Limit], str] = attrgetter("name")) -> Iterator[Block]:
    """What was not looked at to the end, as the time was up; `called` names a limit."""
    names = list(dict.fromkeys(map(called, diagnosis.left_out)))
    if what := [*([f"changes of {listed(names)}"] if names else []), *diagnosis.left_out_also]:
        yield Text(f"\nThe time was up (--time-limit) before these were looked at to the end: {'; '.join(what)}.")


def steps_line(diagnosis: Diagnosis) -> list[Block]:
    """What comes in pieces or steps, where only that is in the way."""
    return [Text(steps_sentence(diagnosis))] if diagnosis.steps else []


def proof(diagnosis: Diagnosis) -> str:
    """How surely there are no weights at all."""
    if diagnosis.proven:
        return "Proven in exact arithmetic."
    search = "search on the steps" if diagnosis.steps else "the solver's search"
    return f"Found by {search}, not proven in exact arithmetic."


def conflict_section(diagnosis: Diagnosis) -> Block:
    """The limits that cannot be kept, and what that does not say."""
    table = table_of((("limit", "left"), ("asked for", "left")),
                     ((Text(limit.name), limit_words(limit)) for limit in diagnosis.conflict))
    return section(conflict_heading(diagnosis), table, Text(
        "The recipe's other limits may still be in the way: another conflict may remain.", QUIET))


def conflict_heading(diagnosis: Diagnosis) -> str:
    """What holds of the limits of a conflict."""
    return CONFLICT_OPEN if not diagnosis.minimal else \
        CONFLICT if len(diagnosis.conflict) > 1 else "This cannot be kept"


def _change_sections(diagnosis: Diagnosis) -> Iterator[Block]:
    """Single changes, or one of several limits together, and who may make a change of what a diet prescribes."""
    repairs, alone = diagnosis.repairs or diagnosis.joint_repair, bool(diagnosis.repairs)
    if repairs:
        several, prescribed = len(repairs) > 1, [one.limit for one in repairs if one.limit.prescribed]
        of_energy = ", a share of the energy" if any(limit.unit == SHARE for limit in prescribed) else ""
        yield section(
            changes_heading(diagnosis),
            table_of((("change", "left"), ("moves by", "right")),
                     ((Text(told(one)), f"{share_moved(one.relative)} %" if one.limit.bound else "")
                      for one in repairs)),
            *([Text(ORDER, QUIET)] if several and not alone else []),
            *([Text(NEARER_OPEN, QUIET)] if nearer_open(diagnosis) else []),
            *([Text(PRESCRIBED.format(of_energy), STRONG)] if prescribed else []))
    if alone and diagnosis.stuck:
        yield section("No change of these alone cures it", Text(listed(stuck_names(diagnosis))))


def changes_heading(diagnosis: Diagnosis) -> str:
    """What holds of the changes; where the time was up before every limit had its own, not that none alone does."""
    alone, several = bool(diagnosis.repairs), len(diagnosis.repairs or diagnosis.joint_repair) > 1
    return CHANGES[alone, several] if alone or not diagnosis.left_out else TOGETHER_OPEN[several]


def nearer_open(diagnosis: Diagnosis) -> bool:
    """Whether a change of a band is named, and not known to be the least."""
    near = diagnosis.nearest
    return near is not None and not near.proven and any(
        one.limit in (near.least, near.most) for one in diagnosis.repairs)


def stuck_names(diagnosis: Diagnosis) -> list[str]:
    """The limits that no change of alone cures; of one whose other end is in the conflict, too, which end it is."""
    names = [limit.name for limit in diagnosis.conflict]
    return [asked(limit) if names.count(limit.name) > 1 else limit.name for limit in diagnosis.stuck]


def share_moved(value: Fraction) -> str:
    """A share as a per cent, small ones with so many decimals that they are seen.

    >>> share_moved(Fraction(3)), share_moved(Fraction(1, 1234))
    ('300', '0.081')
    """
    percent = value * 100
    decimals = 0 if percent >= 10 or not percent else max(1, 1 - math.floor(math.log10(percent)))
    return short(percent, decimals)


def reach_heading(diagnosis: Diagnosis) -> str:
    """Within what the best ratio and the least net carbs are reached."""
    return "Within reach of a dish that is not empty" if diagnosis.empty else \
        "Within reach when all the other limits are kept"


def reached(answer: Impossible) -> Iterator[tuple[str, str, str]]:
    """The best ratio and the least net carbs: what it is, the figure, by which formula where that is not the usual."""
    diagnosis = answer.diagnosis
    if diagnosis.best_ratio is not None:
        yield "best ratio", f"{decimal(cut_down(diagnosis.best_ratio, 2), 2)}:1", answer.recipe.policy.formula
    if diagnosis.least_net_carbs is not None:
        up = Fraction(math.ceil(diagnosis.least_net_carbs * 100), 100)
        yield "least net carbs", f"{decimal(up, 2)} g per serving", ""


def _fats(diagnosis: Diagnosis) -> Iterator[Block]:
    """Foods with the least grams that cure, and what they may do to a guest."""
    if diagnosis.fats:
        yield section("Or one more fat in the batch, the fewest grams first", table_of(
            (("fat", "left"), ("at least g", "right"), ("allergens", "left")),
            ((Text(fat.food.name), weight(fat.grams), Text(allergens_of_food(fat.food))) for fat in diagnosis.fats)))
    elif diagnosis.fats is not None:
        yield section("One more fat", Text("no fat of the table cures it as one more ingredient, with no more of it "
                                           "than a person may eat", QUIET))


def data(answer: Impossible, scale_error: str | None = None) -> Data:
    """The same in the keys of the JSON of `solve`: a stable interface, added to and never renamed."""
    return dish_data(answer, outcome=answer.outcome, prefer=answer.prefer, objective=None, weights=[],
                     per_serving=None, limits=[], diagnosis=_diagnosis_data(answer.recipe, answer.diagnosis)
                     ) | bench_data(answer, scale_error)


def _diagnosis_data(recipe: Recipe, diagnosis: Diagnosis) -> Data:
    return {
        "conflict": [limit.name for limit in diagnosis.conflict],
        "steps": diagnosis.steps,
        "limits": [{"name": limit.name, "kind": limit.kind, "sense": limit.sense, "limit": plain(limit.bound),
                    "unit": limit.unit} for limit in diagnosis.conflict],
        "sentence": sentence(diagnosis),
        "proven": diagnosis.proven,
        "minimal": diagnosis.minimal,
        "empty_dish": diagnosis.empty,
        "undecided": diagnosis.undecided,
        "between_the_steps": weights_data(recipe, diagnosis.between) if diagnosis.between else None,
        "nearest": nearest_data(recipe, diagnosis.nearest),
        "left_out": [*dict.fromkeys(limit.name for limit in diagnosis.left_out), *diagnosis.left_out_also],
        "repairs": [_repair_data(repair) for repair in diagnosis.repairs],
        "stuck": [limit.name for limit in diagnosis.stuck],
        "joint_repair": [_repair_data(repair) for repair in diagnosis.joint_repair],
        "best_ratio": plain(diagnosis.best_ratio),
        "least_net_carbs": plain(diagnosis.least_net_carbs),
        "stepped": [{"ingredient": one.ingredient, "grams": plain(one.grams), "piece": one.piece}
                    for one in diagnosis.stepped],
        "fats": None if diagnosis.fats is None else [
            {"food": fat.food.name, "id": fat.food.id, "grams": plain(fat.grams),
             "allergens": None if fat.food.allergens is None else list(fat.food.allergens),
             "allergens_complete": not fat.food.allergens_unknown} for fat in diagnosis.fats],
    }


def _limit_moved(limit: Limit, to: Fraction | None) -> Data:
    """A limit and where it moves, `from` and `to` as they are written in the recipe file."""
    return {"limit": limit.name, "kind": limit.kind, "sense": limit.sense, "from": plain(limit.bound),
            "to": plain(to), "unit": limit.unit}


def _repair_data(repair: Repair) -> Data:
    return _limit_moved(repair.limit, repair.to) | {
        "relative": plain(repair.relative) if repair.limit.bound else None, "words": told(repair)}


def rows(answer: Impossible) -> Rows:
    """A row for each thing that cures alone or together with others, and for each limit that does not."""
    return with_caution(REMEDY_COLUMNS, _remedy_rows(answer.diagnosis), answer)


def _remedy_rows(diagnosis: Diagnosis) -> Iterator[Data]:
    for cures, repairs in (("alone", diagnosis.repairs), ("together", diagnosis.joint_repair)):
        yield from (_repair_data(repair) | {"cures": cures} for repair in repairs)
    for fat in diagnosis.fats or ():
        yield {"cures": "alone", "limit": fat.food.name, "kind": "added", "sense": MORE, "from": 0.0,
               "to": plain(fat.grams), "unit": "g", "words": f"add at least {float(fat.grams):g} g of {fat.food.name}"}
    if diagnosis.undecided:
        yield {"cures": "not known", "kind": "undecided", "words": undecided_sentence(diagnosis)}
    if diagnosis.empty:
        yield {"cures": "not known", "kind": "empty dish",
               "words": f"{sentence(diagnosis)} {empty_sentence(diagnosis)}"}
    for limit in diagnosis.stuck:
        yield _limit_moved(limit, None) | {"cures": "not alone", "words": asked(limit)}
