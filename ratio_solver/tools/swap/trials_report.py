"""Every food of a role in the place of an ingredient: as text for a terminal of 80 columns, as plain data, as rows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ratio_solver.dish.cautions import in_a_cell, strongest
from ratio_solver.dish.check import Check
from ratio_solver.dish.most import BEYOND
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS
from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    Block,
    Cell,
    Text,
    allergens_of,
    headline,
    more_lines,
    notes,
    section,
    table_of,
)
from ratio_solver.output.dish_text import fact, facts_data
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, plain, weight
from ratio_solver.output.side_by_side import ratio_cell, state, surely_best, unit_of_objectives
from ratio_solver.recipe.model import RATIO
from ratio_solver.solving.result import Impossible, Proposal
from ratio_solver.tools.swap.try_all import BEST_OPEN, OPEN, Trial, Trials

TRIAL_COLUMNS = ("food", "id", "outcome", "objective", "unit", "grams", "ratio", "net_carbs_g", "fat_g", "protein_g",
                 "energy_kcal", "allergens", "reason", "allergens_unknown", "left_out", "warnings", "proven", "caution")


WITHOUT = {
    BEST_OPEN: f"Would do, but {BEST_OPEN}, with",
    OPEN: f"{OPEN[0].upper()}{OPEN[1:]} with",
    BEYOND: f"Not offered, as a serving would hold {BEYOND}",
    "impossible": "No weights satisfy the limits with",
    "cannot be tried": "Not tried",
}
"""What is said of foods without weights, by the reason that they share or by their outcome."""


def text(found: Trials, most: int = 20) -> Block:
    """Every food of a role in the place of an ingredient, the best first."""
    does, not_known = sum(trial.does for trial in found.trials), sum(trial.reason == OPEN for trial in found.trials)
    listed = [(trial, trial.side) for trial in found.trials if trial.side is not None]
    left = sum((trial.does or trial.side is not None) and trial.reason != BEST_OPEN for trial in found.trials)
    parts: list[Block] = [
        headline(found.before.recipe.title, f"{does} of {len(found.trials)} would do"
                 + (f", {not_known} not known" if not_known else ""), GOOD if does else BAD),
        Text(f"Every {found.role} of the table in the place of {found.old.label}, the best first; "
             f"carried over by {found.by}, per serving:"),
        Text(""), _trials_table(found, listed[:most]), *more_lines(left - len(listed[:most])),
    ]
    if any(trial.left_out(found.place) for trial, _ in listed[:most]):
        parts.append(Text("\nLeft out: the limits are kept, and best without any of that food.", QUIET))
    if rough := [name for name, side in ((f"{found.old.label} (now)", found.before),
                                         *((trial.food.name, side) for trial, side in listed[:most]))
                 if not surely_best(side)]:
        parts.append(section("The best found in the time (--time-limit), not proven the best, with:",
                             Text("; ".join(rough))))
    return (*parts, *_trials_without_weights(found, most), _trials_notes(found, listed[:most]))


def _trials_table(found: Trials, listed: Sequence[tuple[Trial, Check | Proposal]]) -> Block:
    before, place = found.before, found.place
    heading = unit_of_objectives([before, *(side for _, side in listed)]) or "state"
    now = Text(f"{found.old.label} (now)", QUIET)
    first: list[Cell] = [now, Text(*state(before)), *[""] * 5] if isinstance(before, Impossible) else \
        [now, *_trial_cells(before, weight(before.weights[place].grams))]
    return table_of(
        (("", "left"), (heading, "right"), ("grams", "right"), ("net carbs", "right"), ("ratio", "right"),
         ("kcal", "right"), ("allergens", "left")),
        [first, *([Text(trial.food.name), *_trial_cells(
            side, "left out" if trial.left_out(place) else weight(side.weights[place].grams))]
            for trial, side in listed)])


def _trial_cells(side: Proposal | Check, grams: str) -> list[Cell]:
    first = decimal(side.objective.value, 2) if isinstance(side, Proposal) else Text(*state(side))
    return [first, grams, fact(side.facts, NET_CARBS, side.limits), ratio_cell(side),
            fact(side.facts, ENERGY, side.limits).removesuffix(" kcal"), Text(allergens_of(side))]


def _trials_without_weights(found: Trials, most: int) -> Iterator[Block]:
    """The foods of which there are no weights to show, by name, with a reason that is not that of all.

    Names have commas in them, so semicolons part them.
    """
    told = [(trial, WITHOUT.get(trial.reason) or WITHOUT.get(trial.outcome)) for trial in found.trials]
    for words in WITHOUT.values():
        names = [trial.food.name + (f" ({trial.reason})" if trial.reason and trial.outcome != BEYOND
                                    and trial.reason not in WITHOUT else "")
                 for trial, said in told if said == words]
        if names:
            more = [f"and {len(names) - most} more"] if len(names) > most else []
            yield section(f"{words}:", Text("; ".join(names[:most] + more)))


def _trials_notes(found: Trials, listed: Sequence[tuple[Trial, Check | Proposal]]) -> Block:
    """The notes of the dish as it is; of the foods listed what they add, each once and with its food."""
    before = found.before
    by_warning: dict[str, list[str]] = {}
    for trial, side in listed:
        for warning in side.warnings:
            if warning not in before.warnings:
                by_warning.setdefault(warning, []).append(trial.food.name)
    added = [warning if any(name in warning for name in names) else f"with {'; '.join(names)}: {warning}"
             for warning, names in by_warning.items()]
    allergens = None if isinstance(before, Impossible) else allergens_of(before)
    return notes(before.recipe, allergens, (*before.warnings, *added),
                 strongest([before.cautions, *(side.cautions for _, side in listed)]))


def data(found: Trials) -> Data:
    """The outcome of `swap --try-all`."""
    return {"old": found.old.label, "role": found.role, "by": found.by, "before": found.before.to_dict(),
            "trials": [_trial_data(found, trial) for trial in found.trials]}


def rows(found: Trials) -> Rows:
    """A food a row."""
    return TRIAL_COLUMNS, (_trial_data(found, trial) for trial in found.trials)


def _trial_data(found: Trials, trial: Trial) -> Data:
    """One food tried."""
    tried: Data = {"food": trial.food.name, "id": trial.food.id, "outcome": trial.outcome,
                   "reason": trial.reason or None, "caution": in_a_cell((trial.side or found.before).cautions)}
    side = trial.side
    if side is None:
        return tried
    facts = facts_data(side.facts, side.limits)
    solved = {"objective": plain(side.objective.value), "unit": side.objective.unit, "proven": side.objective.proven} \
        if isinstance(side, Proposal) else {}
    return tried | {
        "grams": plain(side.weights[found.place].grams), "allergens": "; ".join(side.allergens),
        "allergens_unknown": "; ".join(side.allergens_unknown), "warnings": "; ".join(side.warnings),
        "left_out": trial.left_out(found.place),
        **{key: facts.get(key) for key in (RATIO, NET_CARBS, "fat_g", "protein_g", ENERGY)}, **solved,
    }
