"""What would cure a recipe without an answer, for a terminal of 80 columns."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from ratio_solver.dish.constraints import prescribed
from ratio_solver.dish.notices import allergens_of_food
from ratio_solver.output.blocks import QUIET, STRONG, grid, section
from ratio_solver.output.numbers import decimal, short, weight
from ratio_solver.solving.result import CuringFat, Diagnosis, Impossible, Repair
from ratio_solver.tools.solve.relaxation_words import listed, told

ORDER = "The recipe's own limits are moved first, what may be prescribed last."
PRESCRIBED = "A ratio, net carbs or protein that are prescribed are changed only by those who prescribe them."


def remedy_sections(answer: Impossible) -> list[RenderableType]:
    """Single changes, or one of several limits together; what is within reach; a fat that cures."""
    diagnosis = answer.diagnosis
    return [*_changes(diagnosis), *_reach(answer), *_fats(diagnosis)]


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
