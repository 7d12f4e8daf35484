"""Swap an ingredient for another food: before and after, both solved, and reported side by side."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType

from ratio_solver.dish.cautions import strongest
from ratio_solver.dish.check import check
from ratio_solver.dish.notices import not_known
from ratio_solver.dish.nutrition import per_gram
from ratio_solver.errors import Fault, collected, shown
from ratio_solver.exact import exact as exactly
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.foods.heat import LOSES_FAT
from ratio_solver.foods.nutrients import spoken
from ratio_solver.foods.table import FoodTable
from ratio_solver.lp.clock import each_in_time, limited
from ratio_solver.outcome import Outcome
from ratio_solver.output.blocks import Block, Text, headline
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import plain
from ratio_solver.output.side_by_side import AnyDish, NamedDish, beside, column_rows, joint_notes, not_kept, state
from ratio_solver.recipe.find import place_named
from ratio_solver.recipe.heat import prepare
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.solving.result import Impossible
from ratio_solver.solving.solve import solve

CARRIED: Mapping[str, str | None] = MappingProxyType({
    "weight": None, "fat": "fat_g", "protein": "protein_g", "net-carbs": "net_carbs_g",
})
"""By what start and bounds are carried over: the nutrient that keeps its grams."""


@dataclass(frozen=True)
class Swapped:
    """One ingredient and what took its place.

    Attributes
    ----------
    old, new : Ingredient
    factor : Fraction
        Grams of the new one for each gram of the old one.
    """

    old: Ingredient
    new: Ingredient
    factor: Fraction


@dataclass(frozen=True, repr=False)
class Swap(Outcome):
    """A dish before and after; its `outcome` is what came out after.

    Attributes
    ----------
    swaps : tuple of Swapped
    by : str
        One of `CARRIED`.
    before, after : Proposal, Impossible or Check
    notes : tuple of str
        What of the old ingredient was kept or dropped and should be looked at.
    """

    swaps: tuple[Swapped, ...]
    by: str
    before: AnyDish
    after: AnyDish
    notes: tuple[str, ...]

    about = "before.recipe"

    @property
    def outcome(self) -> str:
        """"solved", "impossible" or "undecided"; of a dish without adjustable ingredients "kept" or "broken"."""
        return self.after.outcome

    @property
    def cautions(self) -> tuple[str, ...]:
        """What goes with the ratios that are stated."""
        return strongest(side.cautions for _, side in self.columns)

    @property
    def columns(self) -> tuple[NamedDish, ...]:
        """Heading and dish of each column."""
        return ("before", self.before), ("after", self.after)


def swap(recipe: Recipe, foods: FoodTable, pairs: Sequence[tuple[str, str]], by: str = "weight",
         prefer: str = "closest", *, guaranteed: Guaranteed = None, exact: bool = False,
         time_limit: float | None = None) -> Swap:
    """Swap ingredients and solve the dish again.

    Parameters
    ----------
    recipe : Recipe
    foods : FoodTable
    pairs : sequence of (str, str)
        Label, food or id of an ingredient, or the words of one, and the food of the table that takes its place.
    by : {"weight", "fat", "protein", "net-carbs"}
        Start and bounds are carried over so that they hold as many grams of this as before.
    prefer, guaranteed, exact, time_limit
        As in `ratio_solver.solve`; the time is that of both answers.

    Returns
    -------
    Swap

    Raises
    ------
    BadInput
        Where a name is unknown, or the new food has nothing of what is carried.

    Examples
    --------
    >>> from ratio_solver import load_foods, read_recipe, swap
    >>> foods = load_foods()
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", foods)
    >>> swap(gratin, foods, [("butter", "ghee (butter oil, anhydrous)")], "fat").outcome
    'solved'
    """
    changed, swaps = swapped(recipe, foods, pairs, by)
    with limited(time_limit):
        before, after = [judged(dish, prefer, guaranteed=guaranteed, exact=exact)
                         for dish in each_in_time((recipe, changed))]
    return Swap(swaps, by, before, after, tuple(note for one in swaps for note in _notes(one)))


def swapped(recipe: Recipe, foods: FoodTable, pairs: Sequence[tuple[str, str]],
            by: str = "weight") -> tuple[Recipe, tuple[Swapped, ...]]:
    """The recipe with ingredients swapped, not solved; parameters and faults as in `swap`."""
    faults: list[Fault] = []
    foods = foods.with_tables(recipe.tables)
    if by not in CARRIED:
        faults.append(Fault("--by", "", shown(by), f"expected one of {', '.join(CARRIED)}"))
    chosen: dict[int, Food] = {}
    for old_name, new_name in pairs:
        place, food = place_named(old_name, recipe, "swap", faults), foods.find(new_name)
        if food is None:
            faults.append(Fault("swap", "", shown(new_name), foods.unknown(new_name)))
        if place is not None and place in chosen:
            faults.append(Fault("swap", "", shown(old_name), "expected each ingredient to be swapped once"))
        if place is not None and food is not None:
            chosen[place] = food
    collected(faults)
    return replaced(recipe, chosen, by)


def replaced(recipe: Recipe, chosen: Mapping[int, Food], by: str) -> tuple[Recipe, tuple[Swapped, ...]]:
    """The recipe with other foods at some places; raises BadInput where one has nothing of what is carried over."""
    faults: list[Fault] = []
    swaps: dict[int, Swapped] = {}
    kept = {i.label.lower() for k, i in enumerate(recipe.ingredients) if k not in chosen}
    for place, food in chosen.items():
        old = recipe.ingredients[place]
        new = _in_place_of(old, food, faults)
        factor = _factor(recipe, old, new, by, faults)
        label = food.name if food.name.lower() not in kept else f"{food.name} for {old.label}"
        kept.add(label.lower())
        start, low, high = (None if value is None else float(exactly(value) * factor)
                            for value in (new.start, new.minimum, new.maximum))
        swaps[place] = Swapped(old, replace(new, label=label, start=start or 0.0, minimum=low, maximum=high), factor)
    collected(faults)
    return _with_new_labels(recipe, swaps), tuple(swaps.values())


def adjustable(recipe: Recipe) -> bool:
    """Whether any weight may move."""
    return any(ingredient.adjustable for ingredient in recipe.ingredients)


def judged(recipe: Recipe, prefer: str, *, guaranteed: Guaranteed, exact: bool) -> AnyDish:
    """The dish solved, or judged as it is written where nothing may move."""
    if adjustable(recipe):
        return solve(recipe, prefer, guaranteed=guaranteed, exact=exact)
    return check(recipe, guaranteed=guaranteed)


def _in_place_of(old: Ingredient, food: Food, faults: list[Fault]) -> Ingredient:
    """The food as it stands where the old one stood, prepared as that was: with its own yield where that is known.

    A piece and a measure are the old food's own.
    """
    drippings = old.drippings if food.role in LOSES_FAT else None
    made = (prepare(food, prepared=old.prepared, drippings=drippings) if old.prepared else None) or \
        prepare(food, old.yield_, drippings=drippings)
    assert made is not None  # without a way that the table may lack there is always one
    if made.fault:
        faults.append(Fault("swap", "", shown(food.name), made.fault))
    return replace(old, food=made.food, yield_=made.yield_, piece=None, measure="", prepared=made.prepared,
                   yield_note=made.note, drippings=drippings)


def _factor(recipe: Recipe, old: Ingredient, new: Ingredient, by: str, faults: list[Fault]) -> Fraction:
    """Grams of the new food that hold as much as a gram of the old one."""
    column = CARRIED[by]
    if column is None:
        return Fraction(1)
    had = per_gram(old, column, recipe) or Fraction(0)
    has = per_gram(new, column, recipe) or Fraction(0)
    for name, amount in ((old.label, had), (new.food.name, has)):
        if not amount:
            faults.append(Fault("--by", by, "", f"{name} has no {spoken(column)}, so none can be carried over; "
                                                f"expected another --by"))
    return had / has if had and has else Fraction(1)


def _with_new_labels(recipe: Recipe, swaps: Mapping[int, Swapped]) -> Recipe:
    """The recipe with the new ingredients; groups follow the new labels."""
    labels = {one.old.label: one.new.label for one in swaps.values()}

    def new(group: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(labels.get(label, label) for label in group)

    def name(text: str) -> str:
        return " + ".join(labels.get(part, part) for part in text.split(" + "))

    return replace(
        recipe,
        ingredients=tuple(swaps[k].new if k in swaps else i for k, i in enumerate(recipe.ingredients)),
        proportions=tuple(
            replace(share, of=new(share.of), to=new(share.to), of_name=name(share.of_name),
                    to_name=name(share.to_name))
            for share in recipe.proportions
        ),
        chooses=tuple(replace(choose, labels=new(choose.labels)) for choose in recipe.chooses),
    )


def _notes(one: Swapped) -> list[str]:
    found = []
    if one.old.prepared and one.new.prepared:
        found.append(f"{one.new.label} has its own yield, {one.new.prepared}: {one.new.yield_:g}")
    elif one.old.yield_ != 1:
        way = f", {one.old.prepared}" if one.old.prepared else ""
        found.append(f"the yield {one.old.yield_:g} is that of {one.old.label}{way}; it is kept for {one.new.label}, "
                     "so look at it")
    if one.old.piece is not None:
        found.append(f"{one.old.label} came in pieces of {one.old.piece:g} g; {one.new.label} does not")
    return found


def text(found: Swap) -> Block:
    """Before and after side by side."""
    words = ", ".join(f"{one.new.food.name} for {one.old.label}" for one in found.swaps)
    carried = f"; start and bounds carried over by {found.by}" if found.by != "weight" else ""
    remarks = [Text(""), *(Text(f"Note: {note}.", "yellow") for note in found.notes)] if found.notes else []
    return (
        headline(found.before.recipe.title, *state(found.after)), Text(f"With {words}{carried}"), Text(""),
        beside(found.columns), *not_kept(found.columns), *remarks, *_allergen_change(found),
        joint_notes([found.after, found.before], found.after),
    )


def _allergen_change(found: Swap) -> Iterator[Block]:
    if isinstance(found.before, Impossible) or isinstance(found.after, Impossible):
        return
    (old, not_before), (new, not_after) = ((set(side.allergens), set(side.allergens_unknown))
                                           for side in (found.before, found.after))
    words = [f"{word}: {', '.join(sorted(some))}" for word, some in
             (("new", new - old), ("no longer", old - new)) if some]
    words += [not_known(sorted(not_after - not_before))] if not_after - not_before else []
    if words:
        yield from (Text(""), Text(f"Allergens, {'; '.join(words)}", "yellow"))


def data(found: Swap) -> Data:
    """The outcome of `swap`."""
    return {
        "swaps": [
            {"old": one.old.label, "new": one.new.label, "food": one.new.food.name, "id": one.new.food.id,
             "factor": plain(one.factor), "start": one.new.start, "min": one.new.minimum, "max": one.new.maximum}
            for one in found.swaps
        ],
        "by": found.by,
        "before": found.before.to_dict(),
        "after": found.after.to_dict(),
        "notes": list(found.notes),
    }


def rows(found: Swap) -> Rows:
    """A figure a row, before and after."""
    return column_rows(found.columns)
