"""What a process computes for the page beside answers: calls of the library, whose results can be sent."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ZERO
from ratio_solver.foods.table import FoodTable
from ratio_solver.output.blocks import QUIET, Block, Text
from ratio_solver.output.side_by_side import beside, joint_notes, not_kept
from ratio_solver.page.answer import Origin, adjusted
from ratio_solver.page.history import State
from ratio_solver.recipe.change import with_added
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.read import recipe_of_text
from ratio_solver.solving.result import Proposal
from ratio_solver.solving.solve import solve
from ratio_solver.tools.card.compute import card
from ratio_solver.tools.draft.compute import draft
from ratio_solver.tools.portions.compute import SOLVED_TO, portions

NO_CARD = {"impossible": "no weights satisfy the limits", "undecided": "no weights were found in the time"}
"""Why there is no card of a dish and no portions, by its outcome."""


def card_of(foods: FoodTable, state: State, origin: Origin, label: str) -> str:
    """The card of a state (HTML)."""
    return card(_weighed_out(foods, state, origin), label)


def portions_of(foods: FoodTable, state: State, origin: Origin, grams: float | None) -> Block:
    """A state in portions; of a stated weight, g, where that is given: the report of the command."""
    dish = _weighed_out(foods, state, origin)
    found = portions(dish.recipe, dish.grams_of_each, portion_grams=grams, tolerance=SOLVED_TO if dish.exact else ZERO)
    block: Block = found.reports().text(found)
    return block


def compared(foods: FoodTable, state: State, origin: Origin, saved: str) -> Block:
    """A state beside the saved file, a column each; ingredients that only one of them has are at its end."""
    before, now = (recipe_of_text(text, foods, *origin) for text in (saved, state.text))
    columns = tuple((name, solve(dish)) for name, dish in
                    (("saved", _as_long_as(now, before)), ("now", _as_long_as(before, now))))
    aside = (Text("The weights of the plan: what is in the bowl is left aside.", QUIET),) if state.bowl else ()
    return *aside, beside(columns), *not_kept(columns), joint_notes([side for _, side in columns])


def drafted(foods: FoodTable, text: str, asked: Mapping[str, Any]) -> tuple[str, tuple[str, ...]]:
    """The recipe file of a written recipe, and what to look at; `asked` as `draft` takes it."""
    found = draft(text, foods, source="the lines", **asked)
    if found.recipe is None:
        raise BadInput([Fault("the lines", "", "", "no line could be understood"),
                        *(Fault("the lines", "", "", line) for line in found.look_at)])
    return found.text, found.look_at


def _weighed_out(foods: FoodTable, state: State, origin: Origin) -> Proposal:
    """The dish of a state that has weights, in the bowl or in the plan."""
    recipe = recipe_of_text(state.text, foods, *origin)
    answer = adjusted(recipe, state).beside_tradition if state.bowl else solve(recipe)
    if not isinstance(answer, Proposal):
        raise BadInput([Fault(origin.source, "", "", NO_CARD[answer.outcome])])
    return answer


def _as_long_as(other: Recipe, recipe: Recipe) -> Recipe:
    """The recipe with none of each ingredient that another has beyond its own number."""
    more = other.ingredients[len(recipe.ingredients):]
    return with_added(recipe, [item.food for item in more]) if more else recipe
