"""What a process computes for the page: each job is a call of the library, and what it gives can be sent."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ZERO
from ratio_solver.foods.table import FoodTable
from ratio_solver.output.blocks import QUIET, Block, Text
from ratio_solver.output.side_by_side import beside, joint_notes, not_kept
from ratio_solver.page.answer import Answer, adjusted, answer_of
from ratio_solver.page.history import State
from ratio_solver.recipe.change import with_added
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.read import recipe_of_text
from ratio_solver.solving.result import Proposal
from ratio_solver.solving.solve import solve
from ratio_solver.tools.card.compute import card
from ratio_solver.tools.draft.compute import draft
from ratio_solver.tools.portions.compute import SOLVED_TO, portions


@dataclass(frozen=True)
class File:
    """Where a dish comes from: what faults call it, and the folder from which its tables are named."""

    source: str
    folder: str


@dataclass(frozen=True)
class Solved:
    """A state to be solved."""

    file: File
    state: State

    def done(self, foods: FoodTable) -> Answer:
        """What came out."""
        return answer_of(self.state, foods, self.file.source, self.file.folder)


@dataclass(frozen=True)
class Card:
    """The card of a state."""

    file: File
    state: State
    label: str = "none"

    def done(self, foods: FoodTable) -> str:
        """The page (HTML)."""
        return card(_with_weights(self.state, self.file, foods), self.label)


@dataclass(frozen=True)
class Dealt:
    """A state in portions; of a stated weight, g, where that is given."""

    file: File
    state: State
    grams: float | None = None

    def done(self, foods: FoodTable) -> Block:
        """The report of the command."""
        dish = _with_weights(self.state, self.file, foods)
        found = portions(dish.recipe, dish.grams_of_each, portion_grams=self.grams,
                         tolerance=SOLVED_TO if dish.exact else ZERO)
        block: Block = found.reports().text(found)
        return block


@dataclass(frozen=True)
class Compared:
    """A state beside the file as it was saved last."""

    file: File
    state: State
    saved: str

    def done(self, foods: FoodTable) -> Block:
        """Both answers, a column each; the ingredients that only one of them has are at its end."""
        before, now = (recipe_of_text(text, foods, self.file.source, self.file.folder)
                       for text in (self.saved, self.state.text))
        columns = tuple((name, solve(dish)) for name, dish in
                        (("saved", _as_long_as(now, before)), ("now", _as_long_as(before, now))))
        aside = (Text("The weights of the plan: what is in the bowl is left aside.", QUIET),) if self.state.bowl else ()
        return *aside, beside(columns), *not_kept(columns), joint_notes([side for _, side in columns])


@dataclass(frozen=True)
class Drafted:
    """A written recipe to be drafted."""

    text: str
    title: str | None = None
    servings: int | None = None
    ratio: float | None = None
    net_carbs: float | None = None
    bounds: float | None = None

    def done(self, foods: FoodTable) -> tuple[str, tuple[str, ...]]:
        """The recipe file, and what to look at."""
        found = draft(self.text, foods, title=self.title, servings=self.servings, ratio=self.ratio,
                      net_carbs=self.net_carbs, bounds=self.bounds, source="the lines")
        if found.recipe is None:
            raise BadInput([Fault("the lines", "", "", "no line could be understood"),
                            *(Fault("the lines", "", "", line) for line in found.look_at)])
        return found.text, found.look_at


Job = Solved | Card | Dealt | Compared | Drafted


NO_CARD = {"impossible": "no weights satisfy the limits", "undecided": "no weights were found in the time"}
"""Why there is no card of a dish, by its outcome."""


def _with_weights(state: State, file: File, foods: FoodTable) -> Proposal:
    """The dish of a state that has weights, in the bowl or in the plan."""
    recipe = recipe_of_text(state.text, foods, file.source, file.folder)
    answer = adjusted(recipe, state).result if state.bowl else solve(recipe)
    if not isinstance(answer, Proposal):
        raise BadInput([Fault(file.source, "", "", NO_CARD[answer.outcome])])
    return _from_tradition(answer, recipe) if state.bowl else answer


def _from_tradition(dish: Proposal, recipe: Recipe) -> Proposal:
    """A dish around the bowl, which starts from the plan, beside the traditional recipe again."""
    starts = {item.label: item.start for item in recipe.ingredients}
    return replace(dish, recipe=replace(dish.recipe, ingredients=tuple(
        replace(item, start=starts.get(item.label, 0.0)) for item in dish.recipe.ingredients)))


def _as_long_as(other: Recipe, recipe: Recipe) -> Recipe:
    """The recipe with none of each ingredient that another has beyond its own number."""
    more = other.ingredients[len(recipe.ingredients):]
    return with_added(recipe, [item.food for item in more]) if more else recipe
