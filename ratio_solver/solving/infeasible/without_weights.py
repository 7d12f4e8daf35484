"""The answer where there are no weights; and of a recipe whose conflict is known already."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

from ratio_solver.dish import notices
from ratio_solver.dish.cautions import cautions_for
from ratio_solver.dish.confidence import Confidence, confidence_notes, most_weights
from ratio_solver.dish.constraints import limits_of
from ratio_solver.errors import NotProven
from ratio_solver.exact import exact as exactly
from ratio_solver.foods.ends import Guaranteed, kind_of
from ratio_solver.lp.clock import limited
from ratio_solver.recipe.model import Recipe
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.infeasible.joint_change import joint_change
from ratio_solver.solving.infeasible.one_change import first_change
from ratio_solver.solving.result import Diagnosis, Impossible, Repair


def without_weights(recipe: Recipe, prefer: str, diagnosis: Diagnosis, guaranteed: Guaranteed = None,
                    confidence: Confidence | None = None) -> Impossible:
    """The answer where there are no weights."""
    starts = tuple(exactly(start) for start in recipe.starts)
    warnings = notices.warnings(recipe, starts, guaranteed=guaranteed, settled=False)
    return Impossible(recipe, prefer, diagnosis,
                      (*warnings, *confidence_notes(recipe, most_weights(recipe), confidence)), cautions_for(recipe),
                      kind_of(guaranteed), confidence)


def answer_known_impossible(recipe: Recipe, prefer: str, members: Sequence[tuple[int, float]] | None, *,
                            guaranteed: Guaranteed = None, exact: bool = False,
                            time_limit: float | None = None) -> Impossible:
    """The answer of a recipe of which it is known that no weights keep its limits, with the first change that cures.

    Parameters
    ----------
    members : sequence of (int, float), optional
        Those of its limits that are in conflict, by their places, and the least share by which a change of each alone
        that cures must move it. Without, nothing is said of why.
    time_limit : float, optional
        As in `solve`.
    """
    if members is None:
        return without_weights(recipe, prefer, Diagnosis((), proven=True), guaranteed)
    domain, limits = SearchDomain(recipe, on_steps=not exact), limits_of(recipe, guaranteed)
    conflict = tuple(limits[place] for place, _ in members)
    diagnosis, joint = Diagnosis(conflict, proven=True), tuple[Repair, ...]()
    with limited(time_limit):
        first = first_change(domain, limits, [(limits[place], least) for place, least in members])
        with suppress(NotProven):
            joint = joint_change(domain, limits, conflict) if first is None else ()
    return without_weights(recipe, prefer, replace(diagnosis, repairs=() if first is None else (first,),
                                                   joint_repair=joint), guaranteed)
