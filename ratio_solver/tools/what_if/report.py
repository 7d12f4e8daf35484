"""Answers side by side: what-if scenarios, and a dish before and after a swap."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.dish.check import Check
from ratio_solver.dish.notices import allergen_words, not_known
from ratio_solver.foods.nutrients import ENERGY, spoken, unit_of
from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    STRONG,
    grid,
    headline,
    limit_words,
    notes,
)
from ratio_solver.output.dish_data import facts_data, unknown_allergens
from ratio_solver.output.dish_text import fact
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, plain, ratio, weight
from ratio_solver.recipe.model import RATIO
from ratio_solver.solving.result import Answer, Impossible, Proposal
from ratio_solver.tools.solve.report import PREFERRED

if TYPE_CHECKING:
    from ratio_solver.tools.swap.compute import Swap
    from ratio_solver.tools.what_if.compute import WhatIf

Side = Answer | Check
Column = tuple[str, Side]

ABREAST = 4
"""Columns side by side in 80 columns of text."""
SHOWN = ("net_carbs_g", "fat_g", "protein_g", "fibre_g", ENERGY)


def state(side: Side) -> tuple[str, str]:
    """What came out, in a word, and its style."""
    if isinstance(side, Check):
        return ("kept", GOOD) if side.kept else ("broken", BAD)
    return (side.outcome, GOOD if isinstance(side, Proposal) else BAD)


# --- data ---------------------------------------------------------------------------------------------


def side_data(side: Side) -> Data:
    """One column in the keys of the JSON of `solve` (or of `check`, where nothing is adjustable)."""
    return side.to_dict()


def data(found: WhatIf) -> Data:
    """The base answer in the keys of `solve`, and the scenarios under "what_if"."""
    return found.base.to_dict() | {
        "what_if": [{"scenario": one.text, **one.answer.to_dict()} for one in found.scenarios],
    }


def rows(found: WhatIf) -> Rows:
    """A figure a row, a column for each answer."""
    return column_header(found.columns), column_rows(found.columns)


def swap_data(found: Swap) -> Data:
    """The outcome of `swap`."""
    return {
        "swaps": [
            {"old": one.old.label, "new": one.new.label, "food": one.new.food.name, "id": one.new.food.id,
             "factor": plain(one.factor), "start": one.new.start, "min": one.new.minimum, "max": one.new.maximum}
            for one in found.swaps
        ],
        "by": found.by,
        "before": side_data(found.before),
        "after": side_data(found.after),
        "notes": list(found.notes),
    }


def column_rows(columns: Sequence[Column]) -> Iterator[Data]:
    """Rows of a CSV: what, unit, then one value for each column under its heading."""
    caution = in_a_cell(strongest([side for _, side in columns]))
    for what, unit, value in _csv_figures(columns):
        yield {"what": what, "unit": unit, **{name: value(side) for name, side in columns}, "caution": caution}


def column_header(columns: Sequence[Column]) -> tuple[str, ...]:
    """Header of that CSV."""
    return ("what", "unit", *(name for name, _ in columns), "caution")


def _csv_figures(columns: Sequence[Column]) -> Iterator[tuple[str, str, Callable[[Side], object]]]:
    yield "outcome", "", lambda side: state(side)[0]
    unit = next((side.objective.unit for _, side in columns if isinstance(side, Proposal)), "")
    yield "objective", unit, lambda side: plain(side.objective.value) if isinstance(side, Proposal) else None
    for place, label in enumerate(_labels(columns)):
        yield label, "g", lambda side, k=place: (  # type: ignore[misc]
            None if isinstance(side, Impossible) else plain(side.weights[k].grams))
    yield RATIO, ":1", lambda side: None if isinstance(side, Impossible) else facts_data(side.facts, side.limits)[RATIO]
    for column in _fact_columns(columns):
        yield column, unit_of(column) or "", lambda side, c=column: (  # type: ignore[misc]
            None if isinstance(side, Impossible) else plain(side.facts.amounts.get(c)))
    yield "serving", "g", lambda side: None if isinstance(side, Impossible) else plain(side.facts.weight)
    yield "warnings", "", lambda side: "; ".join(side.warnings)


def _labels(columns: Sequence[Column]) -> list[str]:
    """Ingredients by place; one that was swapped has both names."""
    rows = zip(*([i.label for i in side.recipe.ingredients] for _, side in columns), strict=True)
    return [" -> ".join(dict.fromkeys(row)) for row in rows]


def _fact_columns(columns: Sequence[Column]) -> list[str]:
    named = [t.nutrient for _, side in columns for t in side.recipe.targets if t.nutrient != RATIO]
    return list(dict.fromkeys([*SHOWN, *named]))


# --- text ---------------------------------------------------------------------------------------------


def text(found: WhatIf) -> RenderableType:
    """The scenarios as columns beside the base answer."""
    blocks = [found.columns[k:k + ABREAST - 1] for k in range(1, len(found.columns), ABREAST - 1)]
    tables = [beside([found.columns[0], *block]) for block in blocks]
    recipe = found.base.recipe
    parts: list[RenderableType] = [
        headline(recipe.title, *state(found.base)),
        Text(f"What if, {PREFERRED[found.base.prefer]}:"),
    ]
    for table in tables:
        parts += [Text(""), table]
    parts += _conflicts(found.columns)
    return Group(*parts, joint_notes([side for _, side in found.columns]))


def swap_report(found: Swap) -> RenderableType:
    """Before and after side by side."""
    words = ", ".join(f"{one.new.food.name} for {one.old.label}" for one in found.swaps)
    heading = headline(found.before.recipe.title, *state(found.after))
    columns: list[Column] = [("before", found.before), ("after", found.after)]
    carried = f"; start and bounds carried over by {found.by}" if found.by != "weight" else ""
    parts: list[RenderableType] = [heading, Text(f"With {words}{carried}"), Text(""), beside(columns)]
    parts += _conflicts(columns)
    parts += [Text(""), *(Text(f"Note: {note}.", "yellow") for note in found.notes)] if found.notes else []
    return Group(*parts, _allergen_change(found), joint_notes([found.after, found.before], found.after))


def beside(columns: Sequence[Column]) -> RenderableType:
    """One table with a column for each answer."""
    table = grid(("", "left"), *((name.replace(",", ",\n"), "right") for name, _ in columns))
    table.columns[0].min_width = 18
    table.add_row("", *(Text(*state(side)) for _, side in columns))
    unit = next((side.objective.unit for _, side in columns if isinstance(side, Proposal)), "")
    if unit:
        table.add_row(Text(unit, QUIET), *(
            decimal(side.objective.value, 2) if isinstance(side, Proposal) else "" for _, side in columns))
    table.add_row(Text("grams for the batch", QUIET))
    for place, label in enumerate(_labels(columns)):
        table.add_row(Text(f"  {label}"), *(
            "" if isinstance(side, Impossible)
            else Text(weight(side.weights[place].grams), _moved(columns, side, place))
            for _, side in columns))
    table.add_row(Text("per serving", QUIET))
    if len({side.recipe.servings for _, side in columns}) > 1:
        table.add_row(Text("  servings"), *(str(side.recipe.servings) for _, side in columns))
    for column in _fact_columns(columns):
        table.add_row(Text(f"  {spoken(column)}"), *(
            "" if isinstance(side, Impossible) or column not in side.facts.amounts
            else fact(side.facts, column, side.limits) for _, side in columns))
    table.add_row(Text("  weight"), *("" if isinstance(side, Impossible) else f"{decimal(side.facts.weight, 1)} g"
                                      for _, side in columns))
    table.add_row(Text(f"  ratio{columns[0][1].recipe.policy.formula}", STRONG), *(
        "" if isinstance(side, Impossible) else Text(ratio_cell(side), STRONG) for _, side in columns))
    return table


def _moved(columns: Sequence[Column], side: Proposal | Check, place: int) -> str:
    """A weight that differs from the first column's stands out."""
    first = columns[0][1]
    if isinstance(first, Impossible) or side is first:
        return ""
    return STRONG if first.weights[place].grams != side.weights[place].grams else ""


def ratio_cell(side: Proposal | Check) -> str:
    states = [s for s in side.limits if s.limit.nutrient == RATIO and not (side.guaranteed or side.confidence)]
    return ratio(side.facts.ratio, states)


def _conflicts(columns: Sequence[Column]) -> list[RenderableType]:
    lines: list[RenderableType] = []
    for name, side in columns:
        if isinstance(side, Impossible):
            limits = "; ".join(f"{limit.name} {limit_words(limit)}" for limit in side.diagnosis.conflict)
            what = "these cannot be kept together" if len(side.diagnosis.conflict) > 1 else "this cannot be kept"
            lines.append(Text(f"{name}: {what}: {limits}", BAD))
        elif isinstance(side, Check) and not side.kept:
            broken = "; ".join(f"{s.limit.name} {limit_words(s.limit)}" for s in side.broken)
            lines.append(Text(f"{name}: breaks {broken}", BAD))
    return [Text(""), *lines] if lines else []


def _allergen_change(found: Swap) -> RenderableType:
    if isinstance(found.before, Impossible) or isinstance(found.after, Impossible):
        return Group()
    before, after = set(found.before.allergens), set(found.after.allergens)
    not_before, not_after = set(unknown_allergens(found.before)), set(unknown_allergens(found.after))
    words = [f"{word}: {', '.join(sorted(some))}" for word, some in
             (("new", after - before), ("no longer", before - after)) if some]
    words += [not_known(sorted(not_after - not_before))] if not_after - not_before else []
    return Group(Text(""), Text(f"Allergens, {'; '.join(words)}", "yellow")) if words else Group()


def joint_notes(sides: Sequence[Side], shown: Side | None = None) -> RenderableType:
    """Notes for all columns together: every warning once, the strongest cautions, allergens of one or all."""
    told = [side for side in ([shown] if shown else sides) if side and not isinstance(side, Impossible)]
    known = sorted({a for side in told for a in side.allergens})
    unknown = dict.fromkeys(label for side in told for label in unknown_allergens(side))
    warnings = dict.fromkeys(w for side in sides for w in side.warnings)
    return notes(sides[0].recipe, allergen_words(known, unknown) if told else None, tuple(warnings),
                 strongest(sides))


def strongest(sides: Sequence[Side]) -> tuple[str, ...]:
    return max((side.cautions for side in sides), key=len)
