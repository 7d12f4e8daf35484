"""A day answered: dishes as they are with everyone's portions of them, or dishes solved together with the day."""

from __future__ import annotations

from fractions import Fraction

from ratio_solver.day.kitchen import Component, Cooked, Kitchen, cooked, weights_of
from ratio_solver.day.limits import Portion
from ratio_solver.day.linked import solve_linked
from ratio_solver.day.model import Day
from ratio_solver.day.result import DayAnswer
from ratio_solver.day.serving import dishes_together, serving
from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.table import FoodTable
from ratio_solver.solving.result import Diagnosis, Impossible, Proposal
from ratio_solver.solving.solve import solve


def solve_day(day: Day, *, together: bool = False, exact: bool = False, foods: FoodTable | None = None,
              time_limit: float | None = None) -> DayAnswer:
    """Everyone's portions for a day, with the dishes as they are or solved together; or why there are none.

    Parameters
    ----------
    day : Day
    together : bool
        Solve the weights of the dishes with the day; else each dish is solved by itself, or taken as written.
    exact : bool
        Weights to any fraction of a gram; else on the steps of the scale.
    foods : FoodTable, optional
        Where to look for a fat that would cure a dish without an answer.
    time_limit : float, optional
        Seconds for each dish and for each programme of people, as in `solve`.

    Returns
    -------
    DayAnswer

    Raises
    ------
    BadInput
        Where nobody eats anything, or a figure that is needed is unknown.
    NotProven
        Where the solver's answer does not pass the exact check.

    Examples
    --------
    >>> from ratio_solver import load_foods, read_days, solve_day
    >>> [day] = read_days("examples/day/tuesday.toml", load_foods())
    >>> answer = solve_day(day)
    >>> answer.outcome, [pot.batches for pot in answer.pots]
    ('solved', [1, 1, 1])
    """
    if not any(day.meals_of(place) for place in range(len(day.people))):
        raise BadInput([Fault(day.source, "people", "", f"expected somebody who eats something ({day.title})")])
    pots, impossible = _pots(day, together, exact, foods, time_limit)
    if impossible:
        return DayAnswer(day, together, None, (), tuple(impossible), exact)
    kitchen = serving(day, pots)
    if together:
        kitchen = dishes_together(day, pots, _served(kitchen, exact, time_limit))
    answers: list[tuple[Component, Proposal | Diagnosis]] = []
    raised = ZERO
    for block in kitchen.components:
        if together:
            answers.append((block, block.solved(exact, time_limit)))
        else:
            linked = solve_linked(kitchen, block, exact, time_limit)
            answers += linked.answers
            raised += linked.raised
    return DayAnswer(day, together, kitchen, tuple(answers), (), exact, raised)


def _served(kitchen: Kitchen, exact: bool, time_limit: float | None) -> dict[Portion, Fraction]:
    """The portions of dishes as they are, of people who have some that keep what is prescribed to them."""
    weights = weights_of((block, block.solved(exact, time_limit, reasons=False)) for block in kitchen.components)
    return {portion: weights[place] for portion, place in kitchen.place_of.items() if place in weights}


def _pots(day: Day, together: bool, exactly: bool, foods: FoodTable | None, time_limit: float | None
          ) -> tuple[list[Cooked], list[Impossible]]:
    """A batch of each dish: solved, or as written; where dishes are solved together one may have no weights alone."""
    pots: list[Cooked] = []
    impossible: list[Impossible] = []
    for pot in day.pots:
        starts = tuple(exact(start) for start in pot.recipe.starts)
        if pot.as_written:
            pots.append(cooked(pot, starts))
            continue
        found = solve(pot.recipe, exact=exactly, foods=foods, ranges=False, time_limit=time_limit)
        if isinstance(found, Proposal):
            pots.append(cooked(pot, found.grams_of_each, found.objective.proven))
        elif together:
            pots.append(cooked(pot, starts))
        else:
            impossible.append(found)
    return pots, impossible

