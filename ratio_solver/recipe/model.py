"""What the cook wrote: a recipe with ingredients, targets, parts, proportions and choices."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, wraps
from inspect import signature
from operator import attrgetter
from typing import TYPE_CHECKING, Concatenate, ParamSpec, TypeVar, cast

from ratio_solver.foods.policy import Policy
from ratio_solver.foods.quantities import RATIO as RATIO

if TYPE_CHECKING:
    from pathlib import Path

    from ratio_solver.foods.food import Food

P = ParamSpec("P")
T = TypeVar("T")

BATCH = "batch"
"""Name under which a proportion refers to all the ingredients."""

LANGUAGES = ("en", "de", "fr")
"""Of the fixed words of a card."""


@dataclass(frozen=True)
class Ingredient:
    """A food in a recipe with a weight.

    Attributes
    ----------
    label : str
        What the recipe calls it, unique in the recipe.
    food : Food
        What of it is in the dish, per 100 g before preparation: a meat without the fat that its drippings took.
    start : float
        Weight in the traditional or first-draft recipe, g for the whole batch.
    minimum, maximum : float or None
        Bounds of an adjustable ingredient, g; both None for a fixed one.
    part : str or None
        The part of the dish it belongs to.
    yield_ : float
        Prepared weight / weight before preparation; the recipe's weights are as prepared.
    step, piece : float or None
        The weight is a multiple of this many g; a piece is sold and used whole.
    keep : float
        How dear a gram of change is to the cook; 1 unless said.
    prepared : str or None
        How it was prepared ("roasted") where the yield comes from the table of yields.
    yield_note : str
        What the reader must know about the yield: its source, the fat that is lost.
    measure : str
        Name of the household measure that the cook wrote ("large", "tbsp"); may be empty.
    in_bowl : float
        What is there already and is added to, g: where that is off the step or piece, what is added keeps to it.
    measure_note : str
        What was assumed for the weight of that measure, where the food's table does not have it.
    drippings : {"kept", "lost"} or None
        Whether the fat and juices that run out of it stay in the dish, where the cook says so.
    """

    label: str
    food: Food
    start: float
    minimum: float | None = None
    maximum: float | None = None
    part: str | None = None
    yield_: float = 1.0
    step: float | None = None
    piece: float | None = None
    keep: float = 1.0
    prepared: str | None = None
    yield_note: str = ""
    measure: str = field(default="", compare=False)  # how it is told, not what it is
    in_bowl: float = 0.0
    drippings: str | None = None
    measure_note: str = field(default="", compare=False)

    @property
    def adjustable(self) -> bool:
        """Whether the weight may change."""
        return self.maximum is not None


@dataclass(frozen=True)
class Target:
    """A limit on one serving: a minimum, a maximum or both, in the unit of what it limits; of a share 0.2 for a fifth.

    Its `nutrient` is the key of a quantity (`ratio_solver.foods.quantities`): "ratio", a nutrient column, or the like.
    """

    nutrient: str
    minimum: float | None = None
    maximum: float | None = None


@dataclass(frozen=True)
class Part:
    """Limits on the weight of a named group of ingredients, g for the batch; that of "batch" are all of them."""

    name: str
    minimum: float | None = None
    maximum: float | None = None


def members_of(part: Part, ingredients: Sequence[Ingredient]) -> list[str]:
    """Labels of the ingredients of a part; of the batch, where no ingredient's part is called so, all of them."""
    found = [ingredient.label for ingredient in ingredients if ingredient.part == part.name]
    return [ingredient.label for ingredient in ingredients] if part.name == BATCH and not found else found


@dataclass(frozen=True)
class Proportion:
    """Limits on the weight of one group as a share of the weight of another.

    Attributes
    ----------
    of, to : tuple of str
        Labels of ingredients.
    of_name, to_name : str
        The groups as the cook named them.
    of_batch, to_batch : bool
        Whether the cook named the batch, which grows with what is added.
    minimum, maximum : float or None
        Share, 0.1 for a tenth.
    """

    of: tuple[str, ...]
    to: tuple[str, ...]
    of_name: str
    to_name: str
    minimum: float | None = None
    maximum: float | None = None
    of_batch: bool = False
    to_batch: bool = False


@dataclass(frozen=True)
class Choose:
    """Use at most so many of these ingredients."""

    labels: tuple[str, ...]
    at_most: int


@dataclass(frozen=True)
class Presentation:
    """What a card shows beside what is weighed; nothing of it changes a figure.

    Attributes
    ----------
    author, yield_text : str
        Who made it; what it makes, in words ("one tart of 26 cm").
    times : tuple of (str, int)
        "prep", "cook" and "rest" and their minutes, those that are told.
    photo : str
        Path of the picture, absolute; empty without.
    language : {"en", "de", "fr"}
        Of the fixed words.
    percent_of : tuple of str
        Labels of the ingredients whose share a label's list states.
    """

    author: str = ""
    yield_text: str = ""
    times: tuple[tuple[str, int], ...] = ()
    photo: str = ""
    language: str = "en"
    percent_of: tuple[str, ...] = ()


@dataclass(frozen=True)
class Recipe:
    """A dish: fixed and adjustable ingredients, and what every serving must keep.

    Weights are grams for the whole batch, targets are per serving. `finished_grams` is the weight of the
    whole batch after cooking, g; `cooking_loss` the share of the batch's weight that cooking takes away.
    Either gives the cooked weight of a serving: water leaves, the macronutrients stay. `remarks` are what the reader
    must be told of how it came to be held to its targets. `tables` are the composition tables that it names, as
    `FoodTable.with_tables` takes them; paths are absolute. `presentation` is what its card shows beside, `composition`
    the files of the tables that its foods are from.
    """

    title: str
    servings: int
    ingredients: tuple[Ingredient, ...]
    targets: tuple[Target, ...] = ()
    policy: Policy = field(default_factory=Policy)
    parts: tuple[Part, ...] = ()
    proportions: tuple[Proportion, ...] = ()
    chooses: tuple[Choose, ...] = ()
    pieces: int | None = None
    note: str = ""
    method: tuple[str, ...] = ()
    source: str = ""
    finished_grams: float | None = None
    cooking_loss: float | None = None
    remarks: tuple[str, ...] = field(default=(), compare=False)
    tables: tuple[str, ...] = ()
    presentation: Presentation = field(default=Presentation(), compare=False)  # how it is told, not what it is
    composition: tuple[Path, ...] = field(default=(), repr=False, compare=False)

    @cached_property
    def computed(self) -> dict[object, object]:
        """What `once` has computed of it, kept for as long as it lives."""
        return {}

    @cached_property
    def computed_of_foods(self) -> dict[object, object]:
        """What `once_of_foods` has computed; shared with the last recipe where that has the same foods and policy."""
        made_of = self.policy, tuple((item.food, item.yield_) for item in self.ingredients)
        for kept_of, kept in tuple(_last):  # another thread may put its own there meanwhile
            if _alike(kept_of, made_of):
                return kept
        computed: dict[object, object] = {}
        _last[:] = [(made_of, computed)]
        return computed

    @property
    def starts(self) -> tuple[float, ...]:
        """Weights as written, g."""
        return tuple(ingredient.start for ingredient in self.ingredients)

    def target(self, nutrient: str) -> Target | None:
        """The target on the ratio, a nutrient column or another quantity, if there is one."""
        return next((target for target in self.targets if target.nutrient == nutrient), None)

    @property
    def reckoned(self) -> str:
        """How the figures are reckoned, in one sentence: by the policy, and what the targets count beside it."""
        return self.policy.described(target.nutrient for target in self.targets)

    def with_targets(self, *targets: Target) -> Recipe:
        """The same dish held to these targets; others stay as they are."""
        merged = {target.nutrient: target for target in (*self.targets, *targets)}
        return replace(self, targets=tuple(merged.values()))


def once(compute: Callable[Concatenate[Recipe, P], T]) -> Callable[Concatenate[Recipe, P], T]:
    """A function of a recipe that computes each answer once, however it is called, and keeps it with that recipe."""
    return _kept_in(attrgetter("computed"), compute)


def once_of_foods(compute: Callable[Concatenate[Recipe, P], T]) -> Callable[Concatenate[Recipe, P], T]:
    """The same for a function of a recipe's foods, yields and policy alone: bounds and targets have no say in it."""
    return _kept_in(attrgetter("computed_of_foods"), compute)


def _kept_in(place: Callable[[Recipe], dict[object, object]], compute: Callable[Concatenate[Recipe, P], T]
             ) -> Callable[Concatenate[Recipe, P], T]:
    parameters = list(signature(compute).parameters.values())[1:]

    @wraps(compute)
    def kept(recipe: Recipe, /, *args: P.args, **named: P.kwargs) -> T:
        computed = place(recipe)
        key = (compute, *args, *(named.get(one.name, one.default) for one in parameters[len(args):]))
        if key not in computed:
            computed[key] = compute(recipe, *args, **named)
        return cast("T", computed[key])

    return kept


_MadeOf = tuple[Policy, tuple[tuple["Food", float], ...]]

_last: list[tuple[_MadeOf, dict[object, object]]] = []
"""Foods, yields and policy of the last recipe that something was computed of, and what was: a hand that moves bounds,
and a row of recipes that differ in their targets, have the same again."""


def _alike(one: _MadeOf, other: _MadeOf) -> bool:
    """Whether policy and yields are equal and the foods the very same, which are held here: none can be another."""
    return len(one[1]) == len(other[1]) and one[0] == other[0] and all(
        food is as_food and yield_ == as_yield
        for (food, yield_), (as_food, as_yield) in zip(one[1], other[1], strict=True))
