"""What a hand can move: the ingredients and limits of a recipe as they are written, each with its track.

A track is a drawing: where marks stand on it, in per cent of its length.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from types import MappingProxyType

from ratio_solver.dish.constraints import MORE, Limit, limits_of
from ratio_solver.exact import exact
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.output.blocks import limit_words
from ratio_solver.output.numbers import in_unit, short
from ratio_solver.page.edits import TYPED_DECIMALS
from ratio_solver.recipe.model import RATIO, Ingredient, Recipe
from ratio_solver.tools.card.content import food_beside

GUARDED = (RATIO, NET_CARBS)
"""Targets that stand at the top of the page, whether the recipe sets them or not."""

ROUND = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
"""First figures of the end of a track."""

ROOM = 1.2
"""How far a track goes beyond what is on it, so that a hand can move it further; our choice."""

TENTHS_BELOW = 20.0
"""On a track that ends below so many, a hand moves by tenths."""

Tops = Mapping[str, float]
"""Ends of the tracks that were shown before, by what is moved."""


@dataclass(frozen=True)
class Track:
    """A track from 0 to `top`, on which a hand moves by `step`."""

    top: float
    step: float

    def percent(self, value: str | float) -> float:
        """Where a value stands, from 0 to 100; at an end where it is beyond."""
        return round(min(max(100 * float(value) / self.top, 0.0), 100.0), 2)


def track_for(values: Iterable[float | None], step: float | None = None, least: float = 1.0, before: float = 0.0,
              moving: bool = False) -> Track:
    """The track that has room for some values, at least as long as one before it: it does not jump under a hand.

    >>> track_for([250.0, 550.0]), track_for([0.5])
    (Track(top=800.0, step=1.0), Track(top=1.0, step=0.1))
    """
    most = max((value for value in values if value is not None), default=0.0)
    top = before if before and (most < before or (moving and most == before)) else max(_next_round(most * ROOM), least)
    return Track(top, step or (0.1 if top < TENTHS_BELOW else 10.0 ** max(0, math.floor(math.log10(top / 1000)))))


def _next_round(value: float) -> float:
    if value <= 0:
        return 0.0
    ten = 10.0 ** math.floor(math.log10(value))
    return next(first * ten for first in ROUND if first * ten >= value * (1 - 1e-9))


@dataclass(frozen=True)
class IngredientLine:
    """An ingredient as it is written.

    Attributes
    ----------
    place : int
        In the recipe's list.
    label, food, part : str
    start, low, high : str
        g for the batch, as they are typed; low and high empty where it is fixed.
    held : bool
        Whether the bounds leave it one weight.
    track : Track
    """

    place: int
    label: str
    food: str
    part: str
    start: str
    low: str
    high: str
    held: bool
    track: Track


@dataclass(frozen=True)
class AdjustableBound:
    """A limit of the dish that can be moved, as it is written.

    Attributes
    ----------
    number : int
        In `limits_of`; -1 for a target that the recipe does not set.
    name, words : str
        "net carbs", "at most".
    nutrient, end : str
        Of a target: what it limits, and which end.
    value, unit : str
        As it is typed, and its unit.
    track : Track
    """

    number: int
    name: str
    words: str
    nutrient: str
    end: str
    value: str
    unit: str
    track: Track


@dataclass(frozen=True)
class Sheet:
    """A recipe as it is written.

    Attributes
    ----------
    recipe : Recipe
    lines : tuple of IngredientLine
    bounds : mapping of int to AdjustableBound
        By the limit's number; those of ingredients are on their lines.
    guards : tuple of AdjustableBound
        Least ratio and most net carbs, set or not.
    """

    recipe: Recipe
    lines: tuple[IngredientLine, ...]
    bounds: Mapping[int, AdjustableBound]
    guards: tuple[AdjustableBound, ...]
    limits: tuple[Limit, ...] = field(repr=False)

    @property
    def asked(self) -> tuple[tuple[str, ...], tuple[object, ...]]:
        """What an answer must have been found for to be shown on this sheet."""
        return asked_of(self.recipe, self.limits)

    @property
    def tops(self) -> Tops:
        """Where its tracks end, by what is moved."""
        bounds = {f"limit {bound.name}": bound.track.top for bound in (*self.bounds.values(), *self.guards)}
        return bounds | {line.label: line.track.top for line in self.lines}


def asked_of(recipe: Recipe, limits: Sequence[Limit]) -> tuple[tuple[str, ...], tuple[object, ...]]:
    """Labels of a recipe and what its limits are about: what an answer is found for."""
    return tuple(item.label for item in recipe.ingredients), tuple(limit.identity for limit in limits)


def sheet_of(recipe: Recipe, tops: Tops = MappingProxyType({}), *, moving: bool = False) -> Sheet:
    """The sheet of a recipe; tracks are at least as long as those before them, and as long while a hand moves.

    Raises
    ------
    BadInput
        Where a limit needs a figure that is unknown.
    """
    def track(key: str, values: Iterable[float | None], step: float | None, least: float) -> Track:
        return track_for(values, step, least, tops.get(key, 0.0), moving)

    limits = limits_of(recipe)
    bounds = {number: _adjustable(number, limit, limits, track) for number, limit in enumerate(limits)
              if limit.kind != "ingredient"}
    return Sheet(recipe, tuple(_line(place, item, track) for place, item in enumerate(recipe.ingredients)), bounds,
                 tuple(_guards(bounds, track)), limits)


def _line(place: int, item: Ingredient, track: Callable[..., Track]) -> IngredientLine:
    step = item.piece or item.step
    return IngredientLine(
        place, item.label, food_beside(item.label, item.food.name), item.part or "", typed(item.start),
        typed(item.minimum), typed(item.maximum), item.adjustable and item.minimum == item.maximum,
        track(item.label, (item.start, item.minimum, item.maximum), step, step or 1.0))


def _adjustable(number: int, limit: Limit, limits: Sequence[Limit], track: Callable[..., Track]) -> AdjustableBound:
    """A limit; both ends of a quantity have tracks alike."""
    words = " ".join(limit_words(limit).split()[:2])
    unit = {"share": "%", "used": "", ":1": ":1"}.get(limit.unit, limit.unit)
    ends = [float(in_unit(one.bound, one.unit)) for one in limits if one.identity[:2] == limit.identity[:2]]
    return AdjustableBound(number, limit.name, words, limit.nutrient, "min" if limit.sense == MORE else "max",
                           typed(in_unit(limit.bound, limit.unit)), unit, _bound_track(track, limit.name, ends, unit))


def _bound_track(track: Callable[..., Track], name: str, ends: Sequence[float], unit: str) -> Track:
    return track(f"limit {name}", ends, {":1": 0.05, "": 1.0, "%": 1.0}.get(unit),
                 {":1": 5.0, "%": 100.0}.get(unit, 1.0))


def _guards(bounds: Mapping[int, AdjustableBound], track: Callable[..., Track]) -> Iterator[AdjustableBound]:
    for nutrient, name, words, end, unit, usual in ((RATIO, "ratio", "at least", "min", ":1", 2.0),
                                                    (NET_CARBS, "net carbs", "at most", "max", "g", 10.0)):
        found = next((bound for bound in bounds.values() if (bound.nutrient, bound.end) == (nutrient, end)), None)
        yield found or AdjustableBound(-1, name, words, nutrient, end, "", unit,
                                       _bound_track(track, name, [usual], unit))


def typed(value: Fraction | float | None) -> str:
    """A number as it is typed, with all its decimals; empty where there is none."""
    return "" if value is None else short(value if isinstance(value, Fraction) else exact(value), TYPED_DECIMALS)
