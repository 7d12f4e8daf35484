"""The bowl that is already wrong: what is in it stays, the rest is solved again, close to the plan.

    minimise    grams moved from the plan
    subject to  w_i = what the scale said            for every ingredient that was weighed
                w_i >= what is in the bowl           for what can only be added to, in whole steps or pieces
                every other limit of the recipe

If nothing keeps the limits: what is in the way, the nearest ratio still reachable, and what would do -
more servings from the same batch (less per serving), more of a fat than the recipe allows, or both. The
report says what to weigh in now, or that.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.dish.cautions import strongest
from ratio_solver.errors import BadInput, Fault, collected
from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import ENERGY
from ratio_solver.lp.clock import limited, share
from ratio_solver.outcome import Outcome
from ratio_solver.output.blocks import (
    BAD,
    GOOD,
    QUIET,
    STRONG,
    Block,
    Cell,
    Text,
    allergens_of,
    batch_line,
    bound_words,
    headline,
    limit_words,
    notes,
    section,
    table_of,
)
from ratio_solver.output.dish_text import (
    at_least,
    bound_at,
    facts_data,
    limits_section,
    serving_section,
    weight_data,
    with_caution,
)
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, plain, ratio, short, weight
from ratio_solver.recipe.change import fixed, planned
from ratio_solver.recipe.find import place_named
from ratio_solver.recipe.model import RATIO, Ingredient, Recipe
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.solving.result import Answer, Impossible, Proposal
from ratio_solver.solving.solve import solve, weights_for
from ratio_solver.tools.adjust.remedies import Remedy, remedies_for
from ratio_solver.tools.solve.impossible import conflict_section, steps_line
from ratio_solver.tools.solve.relaxation_words import undecided_sentence

AS_WEIGHED, ADDED = "--weighed", "--added"

PARTS_OF_TIME = 3
"""The plan, and then the bowl, may each take one of so many parts of the time that is left."""


@dataclass(frozen=True, repr=False)
class Adjustment(Outcome):
    """A dish solved again around what is in the bowl; its `outcome` is that of the remedy taken, else of the answer.

    Attributes
    ----------
    recipe : Recipe
        As written.
    plan : tuple of Fraction, one per ingredient
        The weights solved before anything was weighed, g.
    planned : bool
        False where the recipe has no answer as written, or none was found in the time: the plan then is its starts.
    weighed, added : mapping of str to Fraction
        Label to grams in the bowl: as the scale said, and what can only be added to.
    answer : Proposal or Impossible
        With the plan as starts.
    remedies : tuple of Remedy
        When impossible: what would do, most modest first.
    unfinished : bool
        Whether the time was up before every way out was tried.
    taken : Remedy or None
        The one that was chosen.
    """

    recipe: Recipe
    plan: tuple[Fraction, ...]
    planned: bool
    weighed: Mapping[str, Fraction]
    added: Mapping[str, Fraction]
    answer: Answer
    remedies: tuple[Remedy, ...]
    unfinished: bool = False
    taken: Remedy | None = None

    @property
    def outcome(self) -> str:
        """"solved", "impossible" or "undecided"."""
        return self.result.outcome

    @property
    def result(self) -> Answer:
        """The answer, or the dish of the remedy that was taken."""
        return self.taken.proposal if self.taken else self.answer

    @property
    def beside_tradition(self) -> Answer:
        """The result, whose starts are those of the recipe as written in place of the plan's; 0 of what was added."""
        if isinstance(self.result, Impossible):
            return self.result
        starts = {item.label: item.start for item in self.recipe.ingredients}
        dish = self.result.recipe
        return replace(self.result, recipe=replace(dish, ingredients=tuple(
            replace(item, start=starts.get(item.label, 0.0)) for item in dish.ingredients)))

    @property
    def cautions(self) -> tuple[str, ...]:
        """What goes with the ratios that are stated."""
        return strongest([self.result.cautions, *(remedy.proposal.cautions for remedy in self.remedies)])

    @property
    def bowl(self) -> Recipe | None:
        """The adjusted dish with every weight fixed, or None where there is none."""
        return fixed(self.result.recipe, self.result.grams_of_each) if isinstance(self.result, Proposal) else None

    def take(self, number: int | None) -> Adjustment:
        """The same with the remedy of this number, counted from 1; as it is where none is asked for or needed.

        Raises
        ------
        BadInput
            Where there is no remedy of this number.
        """
        if number is None or isinstance(self.answer, Proposal):
            return self
        if number > len(self.remedies):
            raise BadInput([Fault("--take", "", str(number), f"expected one of the {len(self.remedies)} remedies")])
        return replace(self, taken=self.remedies[number - 1])


def adjust(recipe: Recipe, weighed: Mapping[str, float | None], added: Mapping[str, float | None] | None = None, *,
           guaranteed: Guaranteed = None, time_limit: float | None = None) -> Adjustment:
    """Solve the rest of a dish around what is already in the bowl.

    Parameters
    ----------
    recipe : Recipe
    weighed : mapping of str to float
        Ingredient (label, food or a part of either that fits one) to the grams the scale said: fixed.
    added : mapping of str to float or None, optional
        Ingredient to the grams that are in the bowl and may only be added to; None: the planned weight is.
    guaranteed : {"mean", "food"}, optional
        Keep the targets for every composition within the table's intervals.
    time_limit : float, optional
        Seconds for all of it, 5 unless said; what they cut short is said.

    Returns
    -------
    Adjustment

    Raises
    ------
    BadInput
        With every name that fits no ingredient or several, every weight out of range, and every ingredient
        that is named twice.

    Examples
    --------
    >>> from ratio_solver import adjust, load_foods, read_recipe
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> found = adjust(gratin, {"cream": 480})
    >>> found.outcome, f"{found.result.weights_g['butter']:.0f} g of butter"
    ('solved', '45 g of butter')
    """
    said = _said_of_bowl(recipe, {AS_WEIGHED: weighed, ADDED: added or {}})
    with limited(time_limit):
        with share(PARTS_OF_TIME):
            first = weights_for(recipe, guaranteed=guaranteed)
        plan = tuple(map(_start, recipe.ingredients)) if first is None else first.grams_of_each
        inside = {place: plan[place] if grams is None else exact(grams) for place, (_, grams) in said.items()}
        bowl = planned(recipe, plan)
        bowl = replace(bowl, ingredients=tuple(
            _in_bowl(item, float(inside[place]), said[place][0]) if place in said else item
            for place, item in enumerate(bowl.ingredients)))
        with share(PARTS_OF_TIME):
            answer = solve(bowl, guaranteed=guaranteed)
        ways, unfinished = remedies_for(bowl, recipe, answer.diagnosis.conflict, guaranteed) \
            if isinstance(answer, Impossible) else ((), False)
        fixed_, more = ({recipe.ingredients[place].label: inside[place] for place, (how, _) in said.items()
                         if how == one} for one in (AS_WEIGHED, ADDED))
        return Adjustment(recipe, plan, first is not None, fixed_, more, answer, ways, unfinished)


def _said_of_bowl(recipe: Recipe,
                  given: Mapping[str, Mapping[str, float | None]]) -> dict[int, tuple[str, float | None]]:
    """Place of each ingredient that is in the bowl, the option that says so, and the grams."""
    faults: list[Fault] = []
    found: dict[int, tuple[str, float | None]] = {}
    for how, name, grams in ((how, *entry) for how, named in given.items() for entry in named.items()):
        place = place_named(name, recipe, how, faults)
        if grams is not None and not 0 <= grams <= HEAVIEST:
            faults.append(Fault(how, name, f"{grams:g}", f"expected a weight in g, 0 to {HEAVIEST:,.0f}"))
        if place is None:
            continue
        if place in found:
            faults.append(Fault(how, name, "", f"expected {recipe.ingredients[place].label} once"))
        found[place] = how, grams
    collected(faults)
    return found


def _start(ingredient: Ingredient) -> Fraction:
    """The start, within the bounds."""
    start = exact(ingredient.start)
    if ingredient.minimum is None or ingredient.maximum is None:
        return start
    return min(max(start, exact(ingredient.minimum)), exact(ingredient.maximum))


def _in_bowl(item: Ingredient, grams: float, how: str) -> Ingredient:
    """An ingredient that is in the bowl: fixed where it was weighed, else bounded from below.

    The recipe's own bounds give way where the bowl is past them.
    """
    held = replace(item, in_bowl=grams, start=grams, minimum=None, maximum=None)
    if how == AS_WEIGHED:
        return held
    start = max(item.start, grams)
    if item.minimum is None or item.maximum is None:
        return replace(held, start=start)
    return held if grams >= item.maximum else \
        replace(item, in_bowl=grams, start=start, minimum=max(item.minimum, grams))


CHANGE_COLUMNS = ("change", "name", "sense", "from", "to", "unit")
"""One change of a way out."""
WAY_COLUMNS = ("remedy", *CHANGE_COLUMNS, "words", "ratio", "net_carbs_g")
UNFINISHED = "\nThe time was up (--time-limit) before every way out was tried: there may be others."
BOWL_HEADINGS = (("ingredient", "left"), ("planned g", "right"), ("now g", "right"), ("to add", "right"), ("", "left"))


def text(found: Adjustment) -> Block:
    """What to weigh in now; or why no weights will do, and what would."""
    answer = found.result
    if isinstance(answer, Proposal):
        return _adjusted_dish(found, answer)
    ways = [cells for number, remedy in enumerate(found.remedies, 1)
            for cells in ((str(number), Text(remedy_words(remedy, found))), ("", Text(cost_words(remedy), QUIET)))]
    diagnosis = answer.diagnosis
    return (
        headline(answer.recipe.title, f"{answer.outcome} with this bowl", BAD),
        Text(_bowl_line(found)),
        # A bowl is on a scale: weights between the steps are no way out of it.
        *([Text(undecided_sentence(replace(diagnosis, between=())))] if diagnosis.undecided else
          [*steps_line(diagnosis), conflict_section(diagnosis)]),
        *([section("What would do (--take N makes it so)", table_of((("", "right"), ("", "left")), ways, header=False))]
          if ways else [] if found.unfinished else
          [Text("\nNeither more servings, nor more fat, nor easing limits would do.")]),
        *([Text(UNFINISHED, QUIET)] if found.unfinished else []),
        notes(answer.recipe, None, answer.warnings, answer.cautions),
    )


def _adjusted_dish(found: Adjustment, proposal: Proposal) -> Block:
    recipe = proposal.recipe
    return (
        headline(recipe.title, f"adjusted: {remedy_words(found.taken, found)}" if found.taken else "adjusted", GOOD),
        Text(_bowl_line(found)),
        Text(plan_line(proposal)),
        section("Weights for the batch", table_of(BOWL_HEADINGS, _weight_rows(found, proposal))),
        serving_section(proposal),
        *limits_section([state for state in proposal.limits if state.limit.kind != "ingredient"]),
        notes(recipe, allergens_of(proposal), proposal.warnings, proposal.cautions),
    )


def plan_line(proposal: Proposal) -> str:
    """The servings of an adjusted dish, and how far it is from the plan."""
    moved = decimal(proposal.objective.value, 2)
    return f"{batch_line(proposal.recipe, proposal.facts)}, {moved} g moved from the plan"


def _weight_rows(found: Adjustment, proposal: Proposal) -> Iterator[tuple[Cell, ...]]:
    inside = {**found.added, **found.weighed}
    for plan, item, ingredient in zip(found.plan, proposal.weights, found.recipe.ingredients, strict=True):
        grams = inside.get(item.ingredient)
        if plan or item.grams or grams:
            left = item.grams - (grams or ZERO)
            state = bound_at(item) if grams is None else \
                f"{weight(grams)} in the bowl{_pieces_added(left, ingredient)}"
            yield (Text(item.ingredient), weight(plan), Text(weight(item.grams), STRONG),
                   f"+{weight(left)}" if left else "·", Text(state, QUIET))


def _pieces_added(added: Fraction, ingredient: Ingredient) -> str:
    """" and 2 pieces" where what is added is in whole pieces."""
    count = added / exact(ingredient.piece) if ingredient.piece else ZERO
    return f" and {short(count)} piece{'' if count == 1 else 's'}" if count and count.denominator == 1 else ""


def _bowl_line(found: Adjustment) -> str:
    inside = [f"{label} {weight(grams)} g" for label, grams in {**found.weighed, **found.added}.items()]
    line = f"In the bowl: {', '.join(inside) or 'nothing yet'}."
    if found.planned:
        return line
    none = "No answer to the recipe as written was found in the time" if found.answer.outcome == "undecided" else \
        "The recipe has no answer as written"
    return f"{line} {none}: its starts are the plan."


def _changes_of(remedy: Remedy, found: Adjustment) -> Iterator[tuple[Data, str]]:
    """Each change of a way out, in `CHANGE_COLUMNS`, and as one says it."""
    def row(*cells: object) -> Data:
        return dict(zip(CHANGE_COLUMNS, cells, strict=False))

    for label, most, grams in remedy.raised:
        more = f"{weight(grams - most)} g"
        yield (row("use more", label, "<=", plain(most), plain(grams), "g"),
               f"add {more} of {label}" if label in found.weighed else
               f"use {weight(grams)} g of {label}, {more} above its maximum")
    if remedy.servings is not None:
        yield (row("make more servings", "servings", None, found.recipe.servings, remedy.servings),
               f"make {remedy.servings} servings")
    for limit, value in remedy.eased:
        name = "a ratio" if limit.nutrient == RATIO else limit.name
        yield (row("ease a limit", limit.name, limit.sense, plain(limit.bound), plain(value), limit.unit),
               f"accept {name} of {bound_words(replace(limit, bound=value))} instead of {bound_words(limit)}")
    if not (remedy.raised or remedy.servings or remedy.eased):
        yield row("solve again"), "solve it again"


def remedy_words(remedy: Remedy, found: Adjustment) -> str:
    """A way out as one says it: "add 9 g of butter and make 7 servings"."""
    return " and ".join(words for _, words in _changes_of(remedy, found))


def cost_words(remedy: Remedy) -> str:
    """What the dish of a way out is."""
    facts = remedy.proposal.facts
    asked = [state for state in remedy.proposal.limits if state.limit.nutrient == RATIO]
    return (f"{batch_line(remedy.proposal.recipe, facts)}, {ratio(facts.ratio, asked)}, "
            f"{decimal(facts.amounts['net_carbs_g'], 2)} g net carbs, "
            f"{at_least(facts, ENERGY)}{short(facts.amounts[ENERGY], 0)} kcal")


def data(found: Adjustment) -> Data:
    """The keys of `solve`, what is in the bowl, the plan and the ways out."""
    labels = [ingredient.label for ingredient in found.recipe.ingredients]
    return found.result.to_dict() | {
        "planned": found.planned,
        "plan": {label: plain(grams) for label, grams in zip(labels, found.plan, strict=True)},
        "weighed": {label: plain(grams) for label, grams in found.weighed.items()},
        "added": {label: plain(grams) for label, grams in found.added.items()},
        "unfinished": found.unfinished,
        "remedies": [_remedy_data(remedy, found) for remedy in found.remedies],
    }


def _remedy_data(remedy: Remedy, found: Adjustment) -> Data:
    """One way out, with the weights and facts it leads to."""
    proposal = remedy.proposal
    return {
        "words": remedy_words(remedy, found),
        "servings": remedy.servings,
        "eased": [{"name": limit.name, "sense": limit.sense, "from": plain(limit.bound), "to": plain(value)}
                  for limit, value in remedy.eased],
        "raised": [{"ingredient": label, "from": plain(most), "to": plain(grams)}
                   for label, most, grams in remedy.raised],
        "weights": [weight_data(item) for item in proposal.weights],
        "per_serving": facts_data(proposal.facts, proposal.limits),
    }


def rows(found: Adjustment) -> Rows:
    """The weights, a row each; where there are none, what cannot be kept together and each step of each way out."""
    answer = found.result
    if isinstance(answer, Proposal):
        weighed: Rows = answer.reports().rows(answer)
        return weighed
    lines: list[Data] = [
        {"change": "in conflict", "name": limit.name, "sense": limit.sense, "from": plain(limit.bound),
         "unit": limit.unit, "words": limit_words(limit)} for limit in answer.diagnosis.conflict]
    for number, remedy in enumerate(found.remedies, 1):
        facts = facts_data(remedy.proposal.facts, remedy.proposal.limits)
        lines += [{**change, "remedy": number, "words": remedy_words(remedy, found), "ratio": facts["ratio"],
                   "net_carbs_g": facts["net_carbs_g"]} for change, _ in _changes_of(remedy, found)]
    return with_caution(WAY_COLUMNS, lines, answer)
