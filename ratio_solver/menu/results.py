"""The tables of a menu: their columns, their text, and the rows of a recipe that is solved by itself."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ratio_solver.dish.cautions import SHORT, WHOLE, cautions, in_a_cell
from ratio_solver.dish.constraints import Limit
from ratio_solver.dish.notices import allergen_words
from ratio_solver.dish.nutrition import LEADING
from ratio_solver.dish.status import ratio_reached
from ratio_solver.foods.nutrients import WEIGHT
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.table import FoodTable
from ratio_solver.menu.column_table import ColumnTable, joined_tables
from ratio_solver.outcome import Outcome
from ratio_solver.output.json_csv import harmless
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.result import Answer, Diagnosis, Impossible

if TYPE_CHECKING:
    import pandas as pd

TABLE_DECIMALS = 6
"""Decimals of every computed figure in a menu's tables, half to even."""

TABLE_NAMES = ("weights", "servings", "limits", "problems")
"""The tables of a menu, each a file of its own as CSV."""

TEXT_COLUMNS = frozenset((
    "recipe", "ingredient", "food", "at", "outcome", "unit", "proven", "message", "at_least", "allergens", "warnings",
    "reckoned", "caution", "name", "kind", "sense", "binding", "column", "value", "file", "place"))
"""Columns that are text in a workbook; the others are numbers."""

TableRow = Mapping[str, object]
Numbered = dict[str, list[tuple[int, TableRow]]]
"""Rows of each table, with the number of the recipe that each belongs to."""


def fact_columns(foods: FoodTable) -> tuple[str, ...]:
    """Nutrient columns of the facts, the leading ones first."""
    return tuple(dict.fromkeys([*LEADING, *(column for column in foods.columns if column != WEIGHT)]))


def table_columns(foods: FoodTable) -> dict[str, tuple[str, ...]]:
    """Columns of each table."""
    return {
        "weights": ("recipe", "ingredient", "food", "start", "grams", "min", "max", "at"),
        "servings": ("recipe", "outcome", "ratio", *fact_columns(foods), "weight_g", "objective", "unit", "proven",
                     "message", "at_least", "allergens", "warnings", "reckoned", "caution"),
        "limits": ("recipe", "name", "kind", "sense", "limit", "actual", "slack", "unit", "binding", "price"),
        "problems": ("line", "recipe", "column", "value", "message", "file", "place"),
    }


@dataclass(frozen=True, repr=False)
class MenuTables(Outcome):
    """The tables of a solved menu: as columns, or as frames whose index is the number of the recipe in the menu.

    Attributes
    ----------
    tables : mapping of name to ColumnTable
    alone : int
        Recipes that the arrays left to the per-recipe solver.
    files : tuple of path
        Of the composition tables that were used, each once.
    """

    tables: Mapping[str, ColumnTable]
    alone: int = 0
    files: tuple[Path, ...] = ()

    reported_in = "menu.report"

    @cached_property
    def weights(self) -> pd.DataFrame:
        """A row an ingredient of each recipe that is solved."""
        return self.tables["weights"].frame()

    @cached_property
    def servings(self) -> pd.DataFrame:
        """A row a recipe that can be read."""
        return self.tables["servings"].frame()

    @cached_property
    def limits(self) -> pd.DataFrame:
        """A row a limit of each recipe that is solved."""
        return self.tables["limits"].frame()

    @cached_property
    def problems(self) -> pd.DataFrame:
        """A row for each thing that is wrong."""
        return self.tables["problems"].frame()

    def tables_used(self) -> tuple[Path, ...]:
        """Those of all its recipes."""
        return self.files

    @property
    def outcome(self) -> str:
        """"solved" where every recipe is, else "impossible", or "unreadable" where one cannot be read."""
        counts = self.counts()
        return next((word for word in ("unreadable", "impossible") if counts[word]), "solved")

    @property
    def cautions(self) -> tuple[str, ...]:
        """What goes with the ratios stated; the stronger caution where one of them is that of therapy."""
        return cautions() if SHORT[True] in self.tables["servings"]["caution"].tolist() else WHOLE

    def counts(self) -> dict[str, int]:
        """Recipes "solved", "impossible" and "unreadable"."""
        outcomes = self.tables["servings"]["outcome"].tolist()
        solved = outcomes.count("solved")
        return {"solved": solved, "impossible": len(outcomes) - solved,
                "unreadable": len(set(self.tables["problems"].index.tolist()))}

    def texts(self) -> dict[str, bytes]:
        """Every table as CSV lines without the header, UTF-8."""
        return {name: csv_lines([_harmless_cells(cells) for cells in table.columns.values()])
                for name, table in self.tables.items()}


def merged(foods: FoodTable, stacks: Sequence[Mapping[str, ColumnTable]], rows: Numbered,
           told: Collection[int] = (), recipes: Iterable[Recipe] = ()) -> MenuTables:
    """The tables of what was solved together and of what was solved recipe by recipe, in the order of the menu.

    Of those with rows of their own the arrays told the answer of some. `recipes` are those of files, which may name
    composition tables of their own.
    """
    tables = {}
    alone = len({number for number, _ in rows["servings"]}.difference(told))
    for name, columns in table_columns(foods).items():
        numbers = np.array([number for number, _ in rows[name]], dtype=np.int64)
        cells = {column: np.array([row.get(column) for _, row in rows[name]], dtype=object) for column in columns}
        tables[name] = joined_tables([ColumnTable(numbers, cells), *(stack[name] for stack in stacks if name in stack)])
    files = dict.fromkeys([*foods.files, *(path for recipe in recipes for path in recipe.composition)])
    return MenuTables(tables, alone, tuple(files))


def csv_lines(columns: Sequence[Sequence[object]]) -> bytes:
    """Columns of cells as lines of CSV, UTF-8."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(zip(*columns, strict=True))
    return text.getvalue().encode("utf-8", "replace")


def _harmless_cells(column: np.ndarray) -> list[object]:
    """Cells of a column: blank where unknown, text that a spreadsheet would run made harmless."""
    values: list[object] = column.tolist()
    if column.dtype.kind == "f":
        return ["" if value != value else value for value in values] if np.isnan(column).any() else values
    if column.dtype.kind in "biu":
        return values
    shown = {value: "" if value != value else harmless(value) for value in dict.fromkeys(values)}
    return [shown[value] for value in values]


def table_figure(value: Fraction | float | None) -> float | None:
    """One figure as the tables give it.

    >>> table_figure(Fraction(2, 3))
    0.666667
    """
    return None if value is None else float(round(Fraction(value), TABLE_DECIMALS))


def allergens_cell(known: Iterable[str], unknown: Sequence[str] = ()) -> str:
    """Allergens of a dish in a cell that never looks like none where something is unknown.

    Parameters
    ----------
    known : iterable of str
        Allergens of the ingredients that are used.
    unknown : sequence of str
        Labels of the used ingredients of which nobody has told all.

    >>> allergens_cell(["eggs", "milk"], ["lupin meal"]), allergens_cell([])
    ('eggs; milk; not known for lupin meal: read the label', 'none known')
    """
    return allergen_words(known, unknown, parted="; ")


def reckoned(recipe: Recipe) -> str:
    """How figures of a recipe are reckoned, for a cell; nothing where it is as usual."""
    return "" if recipe.reckoned == Policy().described() else recipe.reckoned


def rows_of_answer(name: str, answer: Answer, foods: FoodTable, diagnose: str = "first") -> dict[str, list[TableRow]]:
    """Rows of the weights, servings and limits tables for a recipe that is solved by itself.

    Of one without an answer as much of the diagnosis is told as `MenuOptions.diagnose` says.
    """
    serving: dict[str, object] = {
        "recipe": name, "outcome": answer.outcome, "warnings": "; ".join(answer.warnings),
        "reckoned": reckoned(answer.recipe), "caution": in_a_cell(answer.cautions),
    }
    if isinstance(answer, Impossible):
        return {"servings": [serving | {"message": impossible_message(answer.diagnosis, diagnose)}]}
    facts, columns = answer.facts, fact_columns(foods)
    serving |= {column: table_figure(facts.amounts.get(column)) for column in columns}
    serving |= {
        "ratio": table_figure(ratio_reached(facts.ratio, answer.limits)), "weight_g": table_figure(facts.weight),
        "unit": answer.objective.unit, "objective": table_figure(answer.objective.value),
        "proven": answer.objective.proven, "message": "",
        "at_least": "; ".join(column for column in columns if column in facts.unknown),
        "allergens": allergens_cell(answer.allergens, answer.allergens_unknown),
    }
    weights: list[TableRow] = [
        {"recipe": name, "ingredient": item.ingredient, "food": item.food, "start": float(item.start),
         "grams": table_figure(item.grams), "min": None if item.minimum is None else float(item.minimum),
         "max": None if item.maximum is None else float(item.maximum), "at": item.at or ""}
        for item in answer.weights]
    limits: list[TableRow] = [
        {"recipe": name, "name": state.limit.name, "kind": state.limit.kind, "sense": state.limit.sense,
         "limit": float(state.limit.bound), "slack": table_figure(state.slack), "unit": state.limit.unit,
         "actual": float(state.limit.bound) if state.binding else table_figure(state.actual), "binding": state.binding,
         "price": table_figure(state.price)}
        for state in answer.limits if state.limit.kind != "ingredient"]
    return {"weights": weights, "servings": [serving], "limits": limits}


def impossible_message(diagnosis: Diagnosis, diagnose: str = "first") -> str:
    """The conflict and, where they are known, the first change that cures it or those that do so together.

    With "full" every change that cures it by itself; with "none" only that there are no weights.
    """
    if diagnose == "none" and not diagnosis.undecided and not diagnosis.empty:
        return "no weights keep all the limits" + (" on the steps" if diagnosis.steps else "")
    conflict = "; ".join(_limit_at(limit, limit.bound) for limit in diagnosis.conflict)
    if diagnosis.undecided:
        return "no weights that keep the limits were found in the time; whether there are any stays open"
    if diagnosis.empty:  # only an empty dish would do, or be the best; what one that is not empty can reach
        said = f"no dish but an empty one, which has no ratio: {conflict}" if conflict else \
            "the best weights are those of an empty dish, which has no ratio"
        best = diagnosis.best_ratio
        reach = "" if best is None else f". Best ratio of a dish that is not empty: {float(best):.12g}:1"
        return f"{said}{reach}. A least weight of the batch is missing"
    together = " together" if len(diagnosis.conflict) > 1 else ""
    said = f"cannot be kept{together}{' by weights on the steps' if diagnosis.steps else ''}: {conflict}"
    if diagnose == "full" and len(diagnosis.repairs) > 1:
        changes = "; ".join(_limit_at(repair.limit, repair.to) for repair in diagnosis.repairs)
        return f"{said}. Each of these changes cures it by itself: {changes}"
    if diagnosis.repairs:
        first = diagnosis.repairs[0]
        return f"{said}. First change that cures it: {_limit_at(first.limit, first.to)}"
    if diagnosis.joint_repair:
        changes = "; ".join(_limit_at(repair.limit, repair.to) for repair in diagnosis.joint_repair)
        return f"{said}. {'These together cure' if len(diagnosis.joint_repair) > 1 else 'This cures'} it: {changes}"
    return said


def _limit_at(limit: Limit, bound: Fraction) -> str:
    """A limit with a bound, in a message."""
    unit = limit.unit if limit.unit == ":1" else f" {limit.unit}"
    return f"{limit.name} {limit.sense} {float(bound):.12g}{unit}"
