"""What a hand can move: the ingredients and limits of a recipe as they are written, each with its track."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from types import MappingProxyType

from ratio_solver.dish.constraints import MORE, Limit, limits_of
from ratio_solver.exact import exact
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.output.blocks import limit_words
from ratio_solver.output.numbers import in_unit, short
from ratio_solver.page.edits import ALL_DECIMALS
from ratio_solver.page.tracks import Track, track_for
from ratio_solver.recipe.model import RATIO, Ingredient, Recipe
from ratio_solver.tools.card.content import food_beside

GUARDED = (RATIO, NET_CARBS)
"""Targets that stand at the top of the page, whether the recipe sets them or not."""

Tops = Mapping[str, float]
"""Ends of the tracks that were shown before, by what is moved."""


@dataclass(frozen=True)
class _Tracks:
    """Makes tracks that are at least as long as those before."""

    tops: Tops
    moving: bool

    def of(self, key: str, *values: float | None, step: float | None, least: float) -> Track:
        return track_for(*values, step=step, least=least, before=self.tops.get(key, 0.0), moving=self.moving)


@dataclass(frozen=True)
class Line:
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
    start_at, low_at, high_at : float
        Where they are on the track, per cent.
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
    start_at: float
    low_at: float
    high_at: float


@dataclass(frozen=True)
class Knob:
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
    lines : tuple of Line
    knobs : mapping of int to Knob
        By the limit's number; those of ingredients are on their lines.
    guards : tuple of Knob
        Least ratio and most net carbs, set or not.
    """

    recipe: Recipe
    lines: tuple[Line, ...]
    knobs: Mapping[int, Knob]
    guards: tuple[Knob, ...]
    limits: tuple[Limit, ...] = field(repr=False)

    @property
    def shape(self) -> tuple[object, ...]:
        """What an answer must have been found for to be shown on this sheet."""
        return shape_of(self.recipe, self.limits)

    @property
    def tops(self) -> dict[str, float]:
        """Where its tracks end, by what is moved."""
        knobs = {f"limit {knob.name}": knob.track.top for knob in (*self.knobs.values(), *self.guards)}
        return knobs | {line.label: line.track.top for line in self.lines}


def shape_of(recipe: Recipe, limits: Sequence[Limit]) -> tuple[object, ...]:
    """Labels of a recipe and what its limits are about: what an answer is found for."""
    return tuple(item.label for item in recipe.ingredients), tuple(limit.identity for limit in limits)


def sheet_of(recipe: Recipe, tops: Tops = MappingProxyType({}), *, moving: bool = False) -> Sheet:
    """The sheet of a recipe; tracks are at least as long as those before them, and as long while a hand moves.

    Raises
    ------
    BadInput
        Where a limit needs a figure that is unknown.
    """
    limits, tracks = limits_of(recipe), _Tracks(tops, moving)
    knobs = {number: _knob(number, limit, limits, tracks) for number, limit in enumerate(limits)
             if limit.kind != "ingredient"}
    return Sheet(recipe, tuple(_line(place, item, tracks) for place, item in enumerate(recipe.ingredients)), knobs,
                 tuple(_guards(knobs, tracks)), limits)


def _line(place: int, item: Ingredient, tracks: _Tracks) -> Line:
    step = item.piece or item.step
    track = tracks.of(item.label, item.start, item.minimum, item.maximum, step=step, least=step or 1.0)
    return Line(place, item.label, food_beside(item.label, item.food.name), item.part or "", typed(item.start),
                typed(item.minimum), typed(item.maximum), item.adjustable and item.minimum == item.maximum, track,
                track.percent(item.start), track.percent(item.minimum), track.percent(item.maximum))


def _knob(number: int, limit: Limit, limits: Sequence[Limit], tracks: _Tracks) -> Knob:
    """A limit; both ends of a quantity have tracks alike."""
    words = " ".join(limit_words(limit).split()[:2])
    unit = {"share": "%", "used": "", ":1": ":1"}.get(limit.unit, limit.unit)
    ends = [float(in_unit(one.bound, one.unit)) for one in limits if one.identity[:2] == limit.identity[:2]]
    return Knob(number, limit.name, words, limit.nutrient, "min" if limit.sense == MORE else "max",
                typed(in_unit(limit.bound, limit.unit)), unit, _knob_track(limit.name, ends, unit, tracks))


def _knob_track(name: str, ends: Sequence[float], unit: str, tracks: _Tracks) -> Track:
    step = {":1": 0.05, "": 1.0, "%": 1.0}.get(unit)
    return tracks.of(f"limit {name}", *ends, step=step, least={":1": 5.0, "%": 100.0}.get(unit, 1.0))


def _guards(knobs: Mapping[int, Knob], tracks: _Tracks) -> Iterator[Knob]:
    for nutrient, name, words, end, unit in ((RATIO, "ratio", "at least", "min", ":1"),
                                             (NET_CARBS, "net carbs", "at most", "max", "g")):
        found = next((knob for knob in knobs.values() if (knob.nutrient, knob.end) == (nutrient, end)), None)
        yield found or Knob(-1, name, words, nutrient, end, "", unit,
                            _knob_track(name, [10.0 if unit == "g" else 2.0], unit, tracks))


def typed(value: Fraction | float | None) -> str:
    """A number as it is typed, with all its decimals; empty where there is none."""
    return "" if value is None else short(value if isinstance(value, Fraction) else exact(value), ALL_DECIMALS)
