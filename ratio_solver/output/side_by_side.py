"""Answers side by side, a column each: scenarios beside the base answer, a dish before and after a swap."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import PurePath

from ratio_solver.dish.cautions import in_a_cell, strongest
from ratio_solver.dish.check import Check
from ratio_solver.dish.notices import allergen_words
from ratio_solver.foods.nutrients import ENERGY, WEIGHT
from ratio_solver.foods.quantities import quantity_of
from ratio_solver.output.blocks import BAD, GOOD, QUIET, STRONG, Block, Cell, Text, limit_words, notes, table_of
from ratio_solver.output.dish_text import fact, facts_data
from ratio_solver.output.json_csv import Rows
from ratio_solver.output.numbers import decimal, plain, ratio, weight
from ratio_solver.recipe.model import RATIO
from ratio_solver.solving.result import Answer, Impossible, Proposal

AnyDish = Answer | Check
"""One that was solved, one without an answer, or one that was judged as it is written."""
NamedDish = tuple[str, AnyDish]
"""A column: its heading and the dish."""

SHOWN = ("net_carbs_g", "fat_g", "protein_g", "fibre_g", ENERGY)


OPEN_SIDE = "no weights{} that keep all the limits were found in the time; whether there are any stays open"
EMPTY_SIDE = "the best weights are those of an empty dish, and that has no ratio"
"""What is said of an answer without weights that names no limits; the place is for where they were looked for."""


def state(side: AnyDish) -> tuple[str, str]:
    """What came out, in a word, and its style."""
    return side.outcome, GOOD if side.outcome in ("solved", "kept") else BAD


def surely_best(side: AnyDish) -> bool:
    """Whether its weights, where it has any that were looked for, are proven to be the best."""
    return not isinstance(side, Proposal) or side.objective.proven


def unit_of_objectives(sides: Sequence[AnyDish]) -> str:
    """The unit of the objectives, empty where nothing was solved."""
    return next((side.objective.unit for side in sides if isinstance(side, Proposal)), "")


def column_rows(columns: Sequence[NamedDish]) -> Rows:
    """A CSV: what, unit, then one value for each column under its heading."""
    names, sides = zip(*columns, strict=True)
    caution = in_a_cell(strongest(side.cautions for side in sides))
    rows = ({"what": what, "unit": unit, **dict(zip(names, values, strict=True)), "caution": caution}
            for what, unit, values in _csv_figures(sides))
    return ("what", "unit", *names, "caution"), rows


def _csv_figures(sides: Sequence[AnyDish]) -> Iterator[tuple[str, str, list[object]]]:
    dishes = [None if isinstance(side, Impossible) else side for side in sides]
    yield "outcome", "", [state(side)[0] for side in sides]
    yield "objective", unit_of_objectives(sides), [
        plain(side.objective.value) if isinstance(side, Proposal) else None for side in sides]
    if not all(map(surely_best, sides)):
        yield "proven", "", [side.objective.proven if isinstance(side, Proposal) else None for side in sides]
    for place, label in enumerate(_names_by_place(sides)):
        yield label, "g", [dish and plain(dish.weights[place].grams) for dish in dishes]
    yield RATIO, ":1", [dish and facts_data(dish.facts, dish.limits)[RATIO] for dish in dishes]
    for column in _fact_columns(sides):
        yield column, quantity_of(column).unit, [dish and plain(dish.facts.amounts.get(column)) for dish in dishes]
    yield "serving", "g", [dish and plain(dish.facts.weight) for dish in dishes]
    yield "warnings", "", ["; ".join(side.warnings) for side in sides]


def _names_by_place(sides: Sequence[AnyDish]) -> list[str]:
    """Ingredients by place; one that was swapped has both names."""
    rows = zip(*([i.label for i in side.recipe.ingredients] for side in sides), strict=True)
    return [" -> ".join(dict.fromkeys(row)) for row in rows]


def _fact_columns(sides: Sequence[AnyDish]) -> list[str]:
    named = [t.nutrient for side in sides for t in side.recipe.targets if t.nutrient not in (RATIO, WEIGHT)]
    return list(dict.fromkeys([*SHOWN, *named]))


def beside(columns: Sequence[NamedDish]) -> Block:
    """One table with a column for each answer."""
    names, sides = zip(*columns, strict=True)
    return table_of([("", "left"), *((_heading(name), "right") for name in names)], _text_rows(sides),
                    first_width=18)


_WIDE = re.compile(r"(policy\.(?:left_out\.)?|ratio_formula=)")


def _heading(name: str) -> str:
    """A heading in lines: a change each, and the long ones of a policy or a table in more; of a path its end."""
    return ",\n".join(f"foods=\n{PurePath(change.removeprefix('foods=')).name}" if change.startswith("foods=") else
                      _WIDE.sub(r"\1\n", change) for change in name.split(","))


def _text_rows(sides: Sequence[AnyDish]) -> Iterator[list[Cell]]:
    dishes = [None if isinstance(side, Impossible) else side for side in sides]
    yield ["", *(Text(*state(side)) for side in sides)]
    if unit := unit_of_objectives(sides):
        yield [Text(unit, QUIET), *(decimal(side.objective.value, 2) if isinstance(side, Proposal) else ""
                                    for side in sides)]
    if not all(map(surely_best, sides)):
        yield ["", *(Text("" if surely_best(side) else "not proven", BAD) for side in sides)]
    yield [Text("grams for the batch", QUIET)]
    for place, label in enumerate(_names_by_place(sides)):
        # A weight that differs from the first column's stands out.
        weights = [None if dish is None else dish.weights[place].grams for dish in dishes]
        yield [Text(f"  {label}"), *("" if grams is None else Text(
            weight(grams), "" if weights[0] in (None, grams) else STRONG) for grams in weights)]
    yield [Text("per serving", QUIET)]
    if len({side.recipe.servings for side in sides}) > 1:
        yield [Text("  servings"), *(str(side.recipe.servings) for side in sides)]
    for column in _fact_columns(sides):
        yield [Text(f"  {quantity_of(column).words}"), *(
            "" if dish is None or column not in dish.facts.amounts else fact(dish.facts, column, dish.limits)
            for dish in dishes)]
    yield [Text("  weight"), *("" if dish is None else f"{decimal(dish.facts.weight, 1)} g" for dish in dishes)]
    yield [Text(f"  ratio{sides[0].recipe.policy.formula}", STRONG), *(
        "" if dish is None else Text(ratio_cell(dish), STRONG) for dish in dishes)]


def ratio_cell(side: Proposal | Check) -> str:
    """The ratio, on the right side of the recipe's own."""
    states = [s for s in side.limits
              if s.limit.nutrient == RATIO and not (side.guaranteed or side.confidence)]
    return ratio(side.facts.ratio, states)


def not_kept(columns: Sequence[NamedDish]) -> list[Block]:
    """A line for each column whose limits cannot be kept, or are not."""
    lines: list[Block] = []
    for name, side in columns:
        if isinstance(side, Impossible):
            limits = side.diagnosis.conflict
            said = "these cannot be kept together:" if len(limits) > 1 else "this cannot be kept:" if limits else \
                OPEN_SIDE.format("") if side.diagnosis.undecided else EMPTY_SIDE
        else:
            limits, said = tuple(s.limit for s in side.broken) if isinstance(side, Check) else (), "breaks"
        if limits or isinstance(side, Impossible):
            told = f"{name}: {said} {'; '.join(f'{one.name} {limit_words(one)}' for one in limits)}"
            lines.append(Text(told.rstrip(), BAD))
    return [Text(""), *lines] if lines else []


def joint_notes(sides: Sequence[AnyDish], shown: AnyDish | None = None) -> Block:
    """Notes for all columns together: every warning once, the strongest cautions, allergens of one or all."""
    dishes = [side for side in ([shown] if shown else sides) if side and not isinstance(side, Impossible)]
    known = sorted({a for side in dishes for a in side.allergens})
    unknown = dict.fromkeys(label for side in dishes for label in side.allergens_unknown)
    warnings = dict.fromkeys(w for side in sides for w in side.warnings)
    return notes(sides[0].recipe, allergen_words(known, unknown) if dishes else None, tuple(warnings),
                 strongest(side.cautions for side in sides))
