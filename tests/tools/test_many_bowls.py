"""Many drawn bowls: what is in one never gets less, and what is said of it is so by solvers that are not ours.

What is drawn: recipes of `tests.oracle.recipes`, one in five of each kind (plain; with parts, proportions, other
targets, keep weights, yields; with choices; in pieces and steps; with targets that divide by something). Up to three
ingredients are weighed, off the plan by up to a twentieth or by up to a half, up to three others are in and may be
added to, with a tenth to one and a half of the plan. The second opinion has the bowl as fixed ingredients and what is
added to it as others: SCIP says whether the limits can be kept, and moving how many grams. Of every way out that is
offered it judges in rationals that these weights keep every limit but those that are said to give way, and by SCIP that
one serving fewer, or a limit given up by one step less, would not do.
"""

from __future__ import annotations

import os
import random
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from ratio_solver import Adjustment, Proposal, Recipe, Remedy, adjust, check, solve
from ratio_solver.dish.constraints import Limit
from ratio_solver.foods.quantities import UNIT_TABLE
from ratio_solver.solving.scale_steps import step_of
from tests.kitchen import drawn
from tests.solving.rewriting import moved
from tests.solving.swept import Sweep

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

Written = dict[str, Any]
KINDS = ("plain", "mixed", "choose", "whole", "share")
FEW, MANY = 15, int(os.environ.get("BOWLS", "500"))
PARTS = 4
SECONDS_OF_SCIP = 10.0
MORE = ", more"


@dataclass(frozen=True)
class Bowl:
    """A drawn recipe with the plan, and what is in the bowl of it: as weighed, and what may be added to. All in g."""

    written: Written
    rows: list[dict[str, str]]
    recipe: Recipe
    plan: Mapping[str, Fraction]
    weighed: Mapping[str, float]
    added: Mapping[str, float]

    def as_file(self, servings: int | None = None, raised: Mapping[str, Fraction] | None = None,
                changes: tuple[tuple[Limit, Fraction], ...] = ()) -> Written:
        """What is in the bowl as fixed ingredients, what is added to them as others, of some more than is allowed."""
        most, entries = raised or {}, []
        for entry in self.written["ingredients"]:
            label = label_of(entry)
            fixed = {key: value for key, value in entry.items() if key not in ("min", "max", "piece", "step")}
            inside, planned = self.inside(entry), float(self.plan[label])
            high = float(most[label]) if label in most else entry.get("max")
            if inside is None:
                ends = {} if high is None else {"min": entry.get("min", planned), "max": high}
                entries.append(entry | {"grams": planned} | ends)
                continue
            entries.append(fixed | {"label": label, "grams": inside})
            more = label in most or (label in self.added and high is not None and high > inside)
            if more and high is not None:
                start, low = (max(0.0, less(grams, inside)) if label in self.added else 0.0
                              for grams in (planned, entry.get("min", 0.0)))
                entries.append(entry | {"label": label + MORE, "grams": start, "min": low, "max": less(high, inside)})
        names = {label_of(entry) for entry in entries}
        shares = [share | {"of": grown(share["of"], names), "to": grown(share["to"], names)}
                  for share in self.written.get("proportions", [])]
        file = self.written | {"ingredients": entries, "proportions": shares}
        return moved(file | {"servings": servings or self.written["servings"]}, self.recipe, changes)

    def inside(self, entry: Mapping[str, Any]) -> float | None:
        """What is in the bowl of an ingredient, with all that the recipe has of it where that may not move."""
        label = label_of(entry)
        grams = self.added.get(label)
        return self.weighed.get(label) if grams is None else grams if "max" in entry else max(grams, entry["grams"])

    def missed(self, file: Written, proposal: Proposal) -> list[str]:
        """The limits of a file that a proposal's weights do not keep, in rationals."""
        names = {label_of(entry) for entry in file["ingredients"]}
        apart = {weight.ingredient: weight.grams for weight in proposal.weights}
        for entry in self.written["ingredients"]:
            if (label := label_of(entry)) + MORE in names:
                inside = exactly(self.inside(entry) or 0.0)
                apart |= {label: inside, label + MORE: apart[label] - inside}
        return list(second_opinion.faults_of(file, self.rows, apart))


def label_of(entry: Mapping[str, Any]) -> str:
    return str(entry.get("label", entry["food"]))


def exactly(grams: float) -> Fraction:
    return Fraction(repr(float(grams)))


def less(grams: float, inside: float) -> float:
    """Decimals taken from decimals, as they are written."""
    return float(exactly(grams) - exactly(inside))


def grown(group: Any, names: set[str]) -> Any:
    """A group of labels with what is added to them."""
    return [name for label in group for name in (label, label + MORE) if name in names] \
        if isinstance(group, list) else group


def filled(seed: int, folder: Path) -> Bowl:
    """A drawn bowl."""
    rng = random.Random(f"bowl {seed}")
    written, rows, recipe = drawn(seed, folder, KINDS[seed % len(KINDS)])
    written["title"] = f"{seed}, {KINDS[seed % len(KINDS)]}"
    for entry in written["ingredients"]:  # labels as the reader makes them of foods named by id
        entry.setdefault("label", next(row["food"] for row in rows if entry["food"] in (row["food"], row["id"])))
    answer = solve(recipe)
    plan = {item.label: answer.grams(item.label) if isinstance(answer, Proposal) else within_bounds(item.start, item)
            for item in recipe.ingredients}
    labels = list(plan)
    rng.shuffle(labels)
    reach = rng.choice((0.05, 0.5))
    weighed = {label: max(0.0, round(float(plan[label]) * rng.uniform(1 - reach, 1 + reach), rng.randint(0, 1)))
               for label in labels[:rng.randint(0, 3)]}
    added = {label: round(float(plan[label]) * rng.uniform(0.1, 1.5), rng.choice((0, 0, 1, 2)))
             for label in labels[len(weighed):][:rng.randint(not weighed, 3)]}
    return Bowl(written, rows, recipe, plan, weighed, {label: grams for label, grams in added.items() if grams > 0})


def within_bounds(start: float, item: Any) -> Fraction:
    return exactly(start if item.minimum is None else min(max(start, item.minimum), item.maximum))


def judged(bowl: Bowl, sweep: Sweep) -> None:
    """One bowl: its answer and every way out are true."""
    counts, title = sweep.counts, bowl.written["title"]
    with sweep.timed(title):
        found = adjust(bowl.recipe, bowl.weighed, bowl.added)
    counts["bowls"] += 1
    counts[found.answer.outcome] += 1
    counts["not every way out tried in the time"] += found.unfinished
    file = bowl.as_file()
    possible, least = opinion(file, bowl)
    counts["left open by SCIP"] += possible is None
    if isinstance(found.answer, Proposal):
        nothing_is_taken_out(bowl, found.answer)
        assert possible is not False and not bowl.missed(file, found.answer)
        if least is not None and found.answer.objective.proven:
            assert abs(float(found.answer.objective.value) - least) <= 1e-6 * max(1, least), least
        return
    assert possible is not True or found.answer.diagnosis.undecided
    counts["bowls without a way out"] += not found.remedies
    for remedy in found.remedies:
        counts["ways out"] += 1
        is_a_way_out(bowl, found, remedy)
        is_modest(bowl, remedy, sweep)


def opinion(file: Written, bowl: Bowl) -> tuple[bool | None, float | None]:
    """Whether the limits can be kept, and with how few grams moved; None where SCIP does not say."""
    try:
        found = second_opinion.solve_whole(file, bowl.rows, seconds=SECONDS_OF_SCIP)
    except second_opinion.NoOpinion:
        return None, None
    if found.status == "infeasible":
        return False, None
    return (True, found.objective) if found.exact else (None, None)


def nothing_is_taken_out(bowl: Bowl, proposal: Proposal, raised: tuple[str, ...] = ()) -> None:
    """What is weighed stays as it is, unless more of it is the way out; what is added are whole steps and pieces."""
    for label, grams in bowl.weighed.items():
        assert proposal.grams(label) == exactly(grams) or (
            label in raised and proposal.grams(label) > exactly(grams)), label
    for item in bowl.recipe.ingredients:
        if item.label in bowl.added:
            more = proposal.grams(item.label) - exactly(bowl.added[item.label])
            assert more >= 0 and (not item.adjustable or more % step_of(item) == 0), item.label


def is_a_way_out(bowl: Bowl, found: Adjustment, remedy: Remedy) -> None:
    """It keeps every limit of the recipe but those that are said to give way, and these as it is said."""
    nothing_is_taken_out(bowl, remedy.proposal, tuple(label for label, _, _ in remedy.raised))
    assert check(remedy.bowl).kept
    raised = {label: grams for label, _, grams in remedy.raised}
    file = bowl.as_file(remedy.servings, raised, remedy.eased)
    assert not bowl.missed(file, remedy.proposal), (remedy.servings, remedy.eased, remedy.raised)
    for limit, value in remedy.eased:
        assert value < limit.bound if limit.sense == ">=" else value > limit.bound, limit.name


def is_modest(bowl: Bowl, remedy: Remedy, sweep: Sweep) -> None:
    """A serving fewer, or a limit given up by one step less, would not do."""
    raised = {label: grams for label, _, grams in remedy.raised}
    if not remedy.eased and remedy.servings and not raised:
        if remedy.servings - 1 > bowl.written["servings"]:
            sweep.counts["one serving fewer tried"] += 1
            assert opinion(bowl.as_file(remedy.servings - 1), bowl)[0] is not True, remedy.servings
    elif len(remedy.eased) == 1:
        [(limit, value)] = remedy.eased
        step = Fraction(1) if limit.kind == "part" else UNIT_TABLE[limit.unit].step
        nearer = value + step if limit.sense == ">=" else value - step
        if (nearer < limit.bound) if limit.sense == ">=" else (nearer > limit.bound):
            sweep.counts["limits given up by one step less"] += 1
            file = bowl.as_file(remedy.servings, raised, ((limit, nearer),))
            assert opinion(file, bowl)[0] is not True, (limit.name, float(value), float(nearer))


def swept(seeds: range, folder: Path) -> Any:
    sweep = Sweep()
    for seed in seeds:
        with sweep.one(f"bowl {seed}"):
            judged(filled(seed, folder), sweep)
    return sweep.ended()


def test_nothing_is_taken_out_of_a_bowl(tmp_path: Path) -> None:
    counts = swept(range(FEW), tmp_path)
    assert counts["bowls"] == FEW and counts["solved"] and counts["ways out"]


@pytest.mark.slow
@pytest.mark.parametrize("part", range(PARTS))
def test_nothing_is_taken_out_of_many_bowls(part: int, tmp_path: Path) -> None:
    size = MANY // PARTS
    counts = swept(range(1000 * (part + 1), 1000 * (part + 1) + size), tmp_path)
    assert counts["bowls"] == size
