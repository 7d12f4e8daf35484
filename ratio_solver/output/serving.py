"""One serving in figures, as the terminal shows them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ratio_solver.dish.confidence import guaranteed_for
from ratio_solver.dish.nutrition import left_out
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS, spoken, unit_of
from ratio_solver.output.blocks import STRONG, section
from ratio_solver.output.numbers import honest, ratio, short, visible

if TYPE_CHECKING:
    from ratio_solver.dish.check import Check
    from ratio_solver.dish.nutrition import Facts
    from ratio_solver.dish.status import LimitState
    from ratio_solver.solving.result import Proposal

FACT_ROWS = (
    ("carbs_g", "fibre_g", NET_CARBS),
    ("fat_g", "protein_g", ENERGY),
    ("soluble_fibre_g", "insoluble_fibre_g"),
)


def serving_section(dish: Check | Proposal) -> Group:
    """Facts of one serving and its ratio."""
    return section("Per serving", _facts_table(dish), _ratio_line(dish))


def _facts_table(dish: Check | Proposal) -> Table:
    """Facts of one serving: carbohydrate first, and what of it does not count."""
    facts, limits = dish.facts, dish.limits
    table = Table(box=None, padding=(0, 2, 0, 0), show_header=False, pad_edge=False)
    for _ in range(3):
        table.add_column(justify="left", no_wrap=True)
        table.add_column(justify="right", no_wrap=True)
    rows = [list(row) for row in FACT_ROWS]
    shown = {column for row in rows for column in row}
    targets = (target.nutrient for target in dish.recipe.targets)
    rows.extend([column] for column in targets if column not in shown and column in facts.amounts)
    for row in rows:
        cells: list[RenderableType] = []
        for column in row:
            if column in facts.amounts:
                cells += [spoken(column), Text(fact(facts, column, limits), STRONG if column == NET_CARBS else "")]
        if cells:
            table.add_row(*cells)
        if NET_CARBS in row:
            for name, grams in left_out(dish.recipe, tuple(weight.grams for weight in dish.weights)).items():
                table.add_row(f"left out: {name}", f"{visible(grams, 2)} g")
    return table


def fact(facts: Facts, column: str, limits: Sequence[LimitState]) -> str:
    """One figure with its unit; "at least" where an ingredient's figure is unknown."""
    states = [state for state in limits if state.limit.nutrient == column]
    unit = unit_of(column) or "g"
    decimals = 0 if unit == "kcal" else 2 if unit == "g" or facts.amounts[column] < 10 else 0
    prefix = "at least " if column in facts.unknown and column != NET_CARBS else ""
    return f"{prefix}{honest(facts.amounts[column], decimals, states)} {unit}"


def _ratio_line(dish: Check | Proposal) -> Text:
    """The ratio, and the one that is kept at the ends of the intervals or with the confidence asked for."""
    kept = [state for state in dish.limits if state.limit.nutrient == "ratio"]
    sided = [] if dish.guaranteed or dish.confidence else kept
    text = Text.assemble("ratio  ", (ratio(dish.facts.ratio, sided), STRONG))
    if dish.confidence and kept and kept[0].actual is not None:
        text.append(f"  ({ratio(kept[0].actual, kept[:1])} with {short(100 * dish.confidence.probability, 6)} %)")
    if dish.guaranteed and kept and kept[0].actual is not None:
        least = ratio(kept[0].actual, kept[:1])
        sure = guaranteed_for(dish.recipe, tuple(weight.grams for weight in dish.weights), dish.guaranteed)
        text.append(f"  (guaranteed {least})" if sure else f"  ({least} at the ends of the intervals)")
    text.append(dish.recipe.policy.formula)
    return text
