"""Every food of a role in the place of an ingredient, the best first.

A linear programme says of each food the least objective that it can have (exactly: the bound of the multipliers,
raised to what the objective is a multiple of). In the rising order of these bounds the foods are solved, until none
that is left can come before those that are wanted. The order is that of solving all of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.dish.cautions import strongest
from ratio_solver.dish.check import Check, check
from ratio_solver.dish.most import BEYOND, BREAKS, KEEPS, most_of
from ratio_solver.errors import BadInput, Fault, NotProven, collected, shown
from ratio_solver.exact import ONE, ZERO, Vector
from ratio_solver.exact import exact as exactly
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.table import FoodTable, suggestion
from ratio_solver.lp.clock import in_time, limited, out_of_time, share
from ratio_solver.lp.search import raised, rounded_point
from ratio_solver.lp.simplex import starting_basis
from ratio_solver.lp.solve import branched
from ratio_solver.outcome import Outcome
from ratio_solver.output.side_by_side import AnyDish
from ratio_solver.recipe.find import place_named
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.solving.formulation import NO_PREFERENCE, Formulation, formulate
from ratio_solver.solving.infeasible.domain import SearchDomain
from ratio_solver.solving.question import Asked, Nowhere
from ratio_solver.solving.result import Proposal
from ratio_solver.solving.scale_steps import whole_model
from ratio_solver.solving.solve import best_weights, question
from ratio_solver.tools.swap.compute import CARRIED, adjustable, judged, replaced

SOLVED, WOULD_DO = "solved", "would do"
OPEN = "whether any weights keep the limits was not found in the time (--time-limit)"
BEST_OPEN = "the best weights were not found in the time (--time-limit)"

TRIAL_OUTCOMES = (SOLVED, KEEPS, WOULD_DO, BREAKS, BEYOND, "impossible", "cannot be tried")
"""From the best to the worst."""

PARTS_OF_A_FOOD = 8
"""One food may take one of so many parts of the time that is left, and so may the dish as it was."""

UNDERCUT = Fraction(1, 10**6)
"""By how much, relative, weights between the steps may undercut their bound."""


@dataclass(frozen=True)
class Trial:
    """One food in the place of an ingredient.

    Attributes
    ----------
    food : Food
    side : Proposal, Check or None
        None where no weights satisfy the limits, where it cannot be tried, or where it was not solved to the end.
    outcome : str
        One of `TRIAL_OUTCOMES`. "would do": there are weights, but none that come before those of the
        foods that were wanted, or the best of them were not found in the time.
    reason : str
        Why it cannot be tried or was not solved; what of it a serving would hold beyond what a person may eat; within
        how much of it there are no weights.
    """

    food: Food
    side: Proposal | Check | None
    outcome: str
    reason: str = ""

    @property
    def does(self) -> bool:
        """Whether weights with it keep every limit."""
        return self.outcome in (SOLVED, KEEPS, WOULD_DO)

    def left_out(self, place: int) -> bool:
        """Whether the best weights use none of it, at this place of the recipe."""
        return isinstance(self.side, Proposal) and not self.side.weights[place].grams


@dataclass(frozen=True, repr=False)
class Trials(Outcome):
    """Every food of a role in the place of an ingredient, the best first; `before` is the dish as it was.

    `place` is that of the ingredient in the recipe. Its `outcome` is "solved" where any would do, "undecided" where
    none is known to, and of some that was not found in the time.
    """

    place: int
    role: str
    by: str
    before: AnyDish
    trials: tuple[Trial, ...]

    about = "before.recipe"
    reported_in = "tools.swap.trials_report"

    @property
    def outcome(self) -> str:
        """Whether any food would do, in a word."""
        if any(trial.does for trial in self.trials):
            return "solved"
        return "undecided" if any(trial.reason == OPEN for trial in self.trials) else "impossible"

    @property
    def cautions(self) -> tuple[str, ...]:
        """What goes with the ratios that are stated."""
        return strongest([self.before.cautions, *(trial.side.cautions for trial in self.trials if trial.side)])

    @property
    def old(self) -> Ingredient:
        """The ingredient that is replaced."""
        return self.before.recipe.ingredients[self.place]


def try_all(recipe: Recipe, foods: FoodTable, old: str, role: str, by: str = "weight", prefer: str = "closest", *,
            most: int | None = None, guaranteed: Guaranteed = None, exact: bool = False,
            time_limit: float | None = None) -> Trials:
    """Every food of a role in the place of an ingredient, the least objective first, impossible ones last.

    Of each no more is used than a serving may hold. A dish without adjustable ingredients is judged as written: those
    that keep every limit first, then by net carbs.

    Parameters
    ----------
    recipe : Recipe
    foods : FoodTable
    old : str
        Label, food or id of an ingredient, or the words of one.
    role : str
        Of the foods that are tried.
    by : {"weight", "fat", "protein", "net-carbs"}
        Start and bounds are carried over so that they hold as many grams of this as before.
    prefer, guaranteed, exact, time_limit
        As in `ratio_solver.solve`; the time is that of all foods: what was not tried by then is said.
    most : int, optional
        Only so many of the best are wanted: of the others it is only said whether they would do. All unless given.

    Returns
    -------
    Trials

    Raises
    ------
    BadInput
        Where no ingredient has that name, or no food of the table that role.

    Examples
    --------
    >>> from ratio_solver import load_foods, read_recipe, try_all
    >>> foods = load_foods()
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", foods)
    >>> found = try_all(gratin, foods, "milk", "egg", most=3)
    >>> found.trials[0].food.name
    'egg yolk, dried'
    """
    place, candidates = _asked_trials(recipe, foods.with_tables(recipe.tables), old, role, by)
    held = recipe.ingredients[place].food.id
    search = _Trying(recipe, place, [food for food in candidates if food.id != held], by, prefer, guaranteed, exact)
    with limited(time_limit):
        with share(PARTS_OF_A_FOOD):
            before = judged(recipe, prefer, guaranteed=guaranteed, exact=exact)
        return Trials(place, role, by, before, search.ranked(most))


def _asked_trials(recipe: Recipe, foods: FoodTable, old: str, role: str, by: str) -> tuple[int, Sequence[Food]]:
    """Place of the ingredient, and the foods of the role."""
    faults: list[Fault] = []
    place = place_named(old, recipe, "swap", faults)
    candidates = foods.with_role(role)
    if not candidates:
        roles = dict.fromkeys(food.role for food in foods if food.role)
        faults.append(Fault("--try-all", "", shown(role), "is the role of no food in the table"
                            + (suggestion(role, roles) or f"; expected one of {', '.join(roles)}")))
    if by not in CARRIED:
        faults.append(Fault("--by", "", shown(by), f"expected one of {', '.join(CARRIED)}"))
    collected(faults)
    assert place is not None
    return place, candidates


@dataclass(frozen=True)
class _Screened:
    """A food with which the linear programme has an answer, and a bound on its objective.

    `within` says within how much of it, where that is less than the ingredient's maximum.
    """

    food: Food
    asked: Asked
    bound: Fraction
    within: str


@dataclass(frozen=True)
class _Trying:
    """What is tried where, and how each dish is solved."""

    recipe: Recipe
    place: int
    foods: Sequence[Food]
    by: str
    prefer: str
    guaranteed: Guaranteed
    exact: bool

    def ranked(self, most: int | None) -> tuple[Trial, ...]:
        """Every food, the best first; those that rank alike in the order of the table."""
        screened = [self.screened(food, bounded=most is not None) for food in self.foods]
        trials = [found for found in screened if isinstance(found, Trial)]
        trials += self.settled([found for found in screened if isinstance(found, _Screened)], most)
        return tuple(sorted(trials, key=lambda trial: (*_trial_rank(trial), self.foods.index(trial.food))))

    def screened(self, food: Food, bounded: bool) -> Trial | _Screened:
        """What is known of a food after one linear programme; without adjustable ingredients all is.

        Where all are wanted nothing hangs on the order in which they are solved, and none is bounded.
        """
        try:
            changed, within = _within_most(replaced(self.recipe, {self.place: food}, self.by)[0], self.place)
            least = tuple(exactly(i.start if i.minimum is None else i.minimum) for i in changed.ingredients)
            beyond = self.beyond(changed, least)
            if not adjustable(changed):
                side = check(changed, guaranteed=self.guaranteed)
                return Trial(food, None, BEYOND, beyond) if beyond else \
                    Trial(food, side, KEEPS if side.kept else BREAKS)
            asked = question(changed, self.prefer, self.guaranteed, ranges=False)
            formulation = asked.formulation
        except BadInput as bad:
            return Trial(food, None, "cannot be tried", "; ".join(fault.expected for fault in bad.faults))
        if not bounded and not beyond:
            return _Screened(food, asked, ZERO, within)
        model = formulation.model
        relaxed = branched(model, model.whole_costs[:1], most=1, start=starting_basis(model))
        if relaxed.complete and relaxed.basis is None:
            return Trial(food, None, "impossible", within)
        if beyond:
            return Trial(food, None, BEYOND, beyond)
        bound = relaxed.bound
        if self.exact:
            bound -= UNDERCUT * max(ONE, abs(bound))
        else:
            bound = raised(bound, whole_model(formulation).grid(model.costs[0]))
        return _Screened(food, asked, bound + formulation.constant, within)

    def beyond(self, recipe: Recipe, weights: Vector) -> str:
        """What of the food that is tried, or by it, a serving holds beyond what a person may eat; else nothing."""
        without = (*weights[:self.place], ZERO, *weights[self.place + 1:])
        return "; ".join(most.told(recipe, weights) for most in most_of(recipe, guaranteed=self.guaranteed)
                         if most.limit.numerator[self.place] and most.passed(weights)
                         and (most.food or not most.passed(without)))

    def settled(self, screened: Sequence[_Screened], most: int | None) -> Iterator[Trial]:
        """The foods solved in the rising order of their bounds, as far as one may be among the wanted."""
        best: list[tuple[Fraction, int]] = []
        for bound, turn, one in sorted(((one.bound, self.foods.index(one.food), one) for one in screened),
                                       key=lambda entry: entry[:2]):
            wanted = most is None or len(best) < most or (bound, turn) <= best[most - 1]
            answer = self.answered(one.asked) if wanted and not out_of_time() else Nowhere(undecided=True)
            if isinstance(answer, Proposal) and (beyond := self.beyond(answer.recipe, answer.grams_of_each)):
                yield Trial(one.food, None, BEYOND, beyond)
            elif isinstance(answer, Proposal):
                best = sorted([*best, (answer.objective.value, turn)])
                yield Trial(one.food, answer, SOLVED)
            elif not answer.undecided or (does := self.does(one.asked.formulation)) is False:
                yield Trial(one.food, None, "impossible", one.within)
            elif does is None:
                yield Trial(one.food, None, "cannot be tried", OPEN)
            else:
                yield Trial(one.food, None, WOULD_DO, BEST_OPEN if wanted else "")

    def answered(self, asked: Asked) -> Proposal | Nowhere:
        """The best weights; where there are none no diagnosis of each food, which would take long."""
        with share(PARTS_OF_A_FOOD):
            return best_weights(asked, self.exact)

    def does(self, formulation: Formulation) -> bool | None:
        """Whether any weights keep the limits, on the steps unless those between them are wanted; None if not known."""
        recipe, limits = formulation.recipe, formulation.limits
        rows = [limit for limit in limits if limit.kind != "ingredient"]  # the bounds stay as those of the weights
        try:
            in_time()
            with share(PARTS_OF_A_FOOD):
                if self.exact:
                    return not formulation.model.stepped or SearchDomain(recipe).feasible(limits)
                clear = rounded_point(whole_model(formulate(recipe, NO_PREFERENCE, limits=rows)))
                return clear is not None or SearchDomain(recipe, on_steps=True).feasible(limits)
        except NotProven:
            return None


def _within_most(recipe: Recipe, place: int) -> tuple[Recipe, str]:
    """The recipe with no more of an ingredient than a serving may hold, and what to say where that is less."""
    items = list(recipe.ingredients)
    item = items[place]
    if item.food.most is None or item.maximum is None:
        return recipe, ""
    most = round(item.food.most * item.yield_ * recipe.servings, 6)
    if not (item.minimum or 0.0) <= most < item.maximum:
        return recipe, ""
    items[place] = replace(item, maximum=most)
    return replace(recipe, ingredients=tuple(items)), f"with at most {item.food.most:g} g of it in a serving"


def _trial_rank(trial: Trial) -> tuple[int, Fraction]:
    """Sort key: how it fares, then the objective, or the net carbs of a dish as written."""
    order = TRIAL_OUTCOMES.index(trial.outcome)
    if isinstance(trial.side, Proposal):
        return order, trial.side.objective.value
    return order, trial.side.facts.amounts[NET_CARBS] if trial.side is not None else ZERO
