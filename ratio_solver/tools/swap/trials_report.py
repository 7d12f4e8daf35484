"""Every food of a role in the place of an ingredient: as plain data, and as text for a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.dish.most import BEYOND
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS
from ratio_solver.output.blocks import BAD, GOOD, QUIET, allergens_of, grid, headline, notes, section
from ratio_solver.output.dish_data import facts_data, unknown_allergens
from ratio_solver.output.dish_text import fact
from ratio_solver.output.json_csv import Data
from ratio_solver.output.numbers import decimal, plain, weight
from ratio_solver.recipe.model import RATIO
from ratio_solver.solving.result import Impossible, Proposal
from ratio_solver.tools.what_if.report import Side, ratio_cell, side_data, state, strongest

if TYPE_CHECKING:
    from ratio_solver.dish.check import Check
    from ratio_solver.tools.swap.try_all import Trial, Trials

TRIAL_COLUMNS = ("food", "id", "outcome", "objective", "unit", "grams", "ratio", "net_carbs_g", "fat_g", "protein_g",
                 "energy_kcal", "allergens", "reason", "allergens_unknown", "left_out", "warnings", "caution")


def trials_data(found: Trials) -> Data:
    """The outcome of `swap --try-all`."""
    return {"old": found.old.label, "role": found.role, "by": found.by, "before": side_data(found.before),
            "trials": [trial_data(found, trial) for trial in found.trials]}


def trial_data(found: Trials, trial: Trial) -> Data:
    """One food tried, a row of the CSV."""
    data: Data = {"food": trial.food.name, "id": trial.food.id, "outcome": trial.outcome,
                  "reason": trial.reason or None, "caution": in_a_cell(found.before.cautions)}
    side = trial.side
    if side is None:
        return data
    facts = facts_data(side.facts, side.limits)
    data |= {"grams": plain(side.weights[found.place].grams), "allergens": "; ".join(side.allergens),
             "allergens_unknown": "; ".join(unknown_allergens(side)), "warnings": "; ".join(side.warnings),
             "caution": in_a_cell(side.cautions),
             "left_out": trial.left_out(found.place),
             **{key: facts.get(key) for key in (RATIO, NET_CARBS, "fat_g", "protein_g", ENERGY)}}
    if isinstance(side, Proposal):
        data |= {"objective": plain(side.objective.value), "unit": side.objective.unit}
    return data


def trials_report(found: Trials, most: int) -> RenderableType:
    """Every food of a role in the place of an ingredient, the best first."""
    recipe, does = found.before.recipe, sum(trial.does for trial in found.trials)
    listed = [trial for trial in found.trials if trial.side is not None][:most]
    left = sum(trial.does or trial.side is not None for trial in found.trials) - len(listed)
    parts: list[RenderableType] = [
        headline(recipe.title, f"{does} of {len(found.trials)} would do", GOOD if does else BAD),
        Text(f"Every {found.role} of the table in the place of {found.old.label}, the best first; "
             f"carried over by {found.by}, per serving:"),
        Text(""), _table(found, listed),
    ]
    if left > 0:
        parts.append(Text(f"and {left} more (--most)", QUIET))
    if any(trial.left_out(found.place) for trial in listed):
        parts.append(Text("\nLeft out: the limits are kept, and best without any of that food.", QUIET))
    return Group(*parts, *_others(found, most), _notes(found, listed))


def _table(found: Trials, listed: Sequence[Trial]) -> RenderableType:
    before, place = found.before, found.place
    unit = next((side.objective.unit for side in (before, *(trial.side for trial in listed))
                 if isinstance(side, Proposal)), "state")
    table = grid(("", "left"), (unit, "right"), ("grams", "right"), ("net carbs", "right"),
                 ("ratio", "right"), ("kcal", "right"), ("allergens", "left"))
    now = Text(f"{found.old.label} (now)", QUIET)
    if isinstance(before, Impossible):
        table.add_row(now, Text("impossible", BAD), *[""] * 5)
    else:
        table.add_row(now, *_cells(before, weight(before.weights[place].grams)))
    for trial in listed:
        assert trial.side is not None
        grams = "left out" if trial.left_out(place) else weight(trial.side.weights[place].grams)
        table.add_row(Text(trial.food.name), *_cells(trial.side, grams))
    return table


def _cells(side: Proposal | Check, grams: str) -> list[RenderableType]:
    first = decimal(side.objective.value, 2) if isinstance(side, Proposal) else Text(*state(side))
    return [first, grams, fact(side.facts, NET_CARBS, side.limits), ratio_cell(side),
            fact(side.facts, ENERGY, side.limits).removesuffix(" kcal"), Text(allergens_of(side))]


def _others(found: Trials, most: int) -> Iterator[RenderableType]:
    """The foods that do not do, by name; names have commas in them, so semicolons part them."""
    for outcome, words in ((BEYOND, f"Not offered, as a serving would hold {BEYOND}"),
                           ("impossible", "No weights satisfy the limits with"), ("cannot be tried", "Not tried")):
        others = [trial for trial in found.trials if trial.outcome == outcome]
        if others:
            named = "; ".join(trial.food.name + (f" ({trial.reason})" if trial.reason and outcome != BEYOND else "")
                              for trial in others[:most])
            left = f"; and {len(others) - most} more" if len(others) > most else ""
            yield section(f"{words}:", Text(named + left))


def _notes(found: Trials, listed: Sequence[Trial]) -> RenderableType:
    """The notes of the dish as it is; of the foods listed what they add, each once and with its food."""
    before = found.before
    by_warning: dict[str, list[str]] = {}
    for trial in listed:
        assert trial.side is not None
        for warning in trial.side.warnings:
            if warning not in before.warnings:
                by_warning.setdefault(warning, []).append(trial.food.name)
    added = [warning if any(name in warning for name in names) else f"with {'; '.join(names)}: {warning}"
             for warning, names in by_warning.items()]
    sides: list[Side] = [before, *(trial.side for trial in listed if trial.side is not None)]
    allergens = None if isinstance(before, Impossible) else allergens_of(before)
    return notes(before.recipe, allergens, (*before.warnings, *added), strongest(sides))
