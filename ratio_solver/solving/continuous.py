"""The best weights to any fraction of a gram, as the solver has them; that there are none is shown in rationals."""

from __future__ import annotations

from ratio_solver.errors import NotProven
from ratio_solver.lp.branching import settle
from ratio_solver.lp.quotient import UNFOUND
from ratio_solver.lp.solve import Infeasible, Settled, Solution, settle_searched, solve_lp
from ratio_solver.solving.formulation import Formulation
from ratio_solver.solving.infeasible.conflict import feasible


def between_the_steps(formulation: Formulation) -> tuple[Settled, Solution] | None:
    """The solution between the steps; None where exact arithmetic shows that there is none.

    Raises
    ------
    NotProven
        Where the solver finds none, and there is one or it cannot be told.
    """
    model = formulation.model
    settled = settle_searched(model)
    found = settled if isinstance(settled, Infeasible) else solve_lp(settled.model)
    if not isinstance(settled, Infeasible) and not isinstance(found, Infeasible):
        return settled, found
    if not feasible(formulation.recipe, formulation.limits):
        return None
    again = settle(model)
    found = again if isinstance(again, Infeasible) else solve_lp(again)
    if isinstance(again, Infeasible) or isinstance(found, Infeasible):
        raise NotProven(UNFOUND)
    return Settled(again, found.objective if model.stepped else None), found
