"""Changes of a recipe file that leave everything else in it as the cook wrote it: comments, order and spelling.

A change is a place in the file and what stands there from now on. It is made in the text (tomlkit), and the new text is
read back and compared with the same change made in the plain values: where that differs, nothing is changed.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from ratio_solver.dish.constraints import LESS, MORE, Limit
from ratio_solver.errors import BadInput, Fault, one_line
from ratio_solver.exact import HUNDRED
from ratio_solver.foods.food import Food
from ratio_solver.output.numbers import short
from ratio_solver.recipe.groups import group_labels
from ratio_solver.recipe.model import BATCH, RATIO, Ingredient, Recipe
from ratio_solver.recipe.targets import per_cent, ratio_value, share_meant, target_meant
from ratio_solver.recipe.write import Value, ingredient_keys

Place = tuple[str | int, ...]
"""Keys and positions from the top of the file: ("ingredients", 2, "max")."""

TYPED_DECIMALS = 9
"""Decimals of a number as it is typed: more than any scale or table has."""

AHEAD = 50_000
"""Letters of a text that is parsed before it is changed: some tenth of a second, in which the page answers nobody."""

_FAILING = (TOMLKitError, tomllib.TOMLDecodeError, KeyError, IndexError, TypeError, AttributeError)
"""What a text can fail with that is no TOML, or has another shape than its change."""

_END = {MORE: "min", LESS: "max"}


@dataclass(frozen=True)
class Change:
    """What stands at a place of the file from now on; None takes it out."""

    place: Place
    value: Value | None


def edited(text: str, changes: Iterable[Change]) -> str:
    """The text of a recipe file with some values changed.

    Parameters
    ----------
    text : str
    changes : iterable of Change
        Made in this order.

    Returns
    -------
    str

    Raises
    ------
    BadInput
        Where the change cannot be made without changing more than was asked.

    Examples
    --------
    >>> edited("servings = 4  # the small table\\n", [Change(("servings",), 6)])
    'servings = 6  # the small table\\n'
    """
    try:
        plain, written, _ = _parsed.pop(text) if text in _parsed else _taken_apart(text)
        for change in changes:
            _make(plain, change)
            _make(written, change)
        new = written.as_string()
        known = tomllib.loads(new)
        if known == plain:
            _parsed.clear()
            _parsed[new] = plain, written, known
            return new
    except _FAILING as error:
        raise _not_here() from error
    raise _not_here()


_Parsed = tuple[dict[str, Any], tomlkit.TOMLDocument, Mapping[str, Any]]

_parsed: dict[str, _Parsed] = {}
"""The text that was made last, parsed: a hand that moves on changes it again and again.

Its values are there twice: those that the next change is made in, and those that are given out, in which none is.
"""


def _taken_apart(text: str) -> _Parsed:
    return tomllib.loads(text), tomlkit.parse(text), tomllib.loads(text)


def parse_ahead(text: str) -> None:
    """Parse a text before anything in it is changed, so that the first change does not wait for that."""
    if text not in _parsed and len(text) <= AHEAD:
        with suppress(*_FAILING, RecursionError):
            found = _taken_apart(text)
            _parsed.clear()
            _parsed[text] = found


def known_values(text: str) -> Mapping[str, Any] | None:
    """The values of the recipe file that was parsed last; None of any other text."""
    return _parsed[text][2] if text in _parsed else None


def _not_here() -> BadInput:
    return BadInput([Fault("the file", "", "", "this cannot be changed here without changing more of it; change it "
                                               "under Text")])


def _make(table: Any, change: Change) -> None:
    """Make one change in the values of a file, plain ones or those that know how they are written."""
    *way, last = change.place
    for key in way:
        if isinstance(key, str) and key not in table:
            table[key] = {}
        table = table[key]
    if change.value is None:
        if last in table:
            del table[last]
    elif isinstance(last, int) and last == len(table):
        table.append(change.value)
    elif not _same(table.get(last) if isinstance(last, str) else table[last], change.value):
        table[last] = change.value


def _same(old: Any, new: Value) -> bool:
    """Whether a value says already what is to be said, however it is spelt: 2.0 and 2."""
    return bool(old == new) and isinstance(old, bool) == isinstance(new, bool)


def number_written(value: Fraction | float) -> float | int:
    """A number as a cook writes it: whole where it is whole."""
    number = float(value)
    return int(number) if number.is_integer() else number


# --- where a limit is written ---------------------------------------------------------------------------------------


def limit_moved(limit: Limit, to: Fraction, table: Mapping[str, Any], recipe: Recipe, columns: Sequence[str]
                ) -> tuple[Change, ...]:
    """The changes of the file that move a limit.

    Parameters
    ----------
    limit : Limit
        Of the recipe that the file holds.
    to : Fraction
        The new bound, in the limit's unit.
    table : mapping
        The values of the file.
    recipe : Recipe
    columns : sequence of str
        Nutrients of the composition table.
    """
    end, place = _END[limit.sense], limit.subject.place
    if limit.kind == "target":
        return target_moved(limit.nutrient, end, to, table, columns)
    if limit.kind == "ingredient":
        return Change(("ingredients", place, end), number_written(to)),
    if limit.kind == "choose":
        return Change(("choose", place, "at_most"), number_written(to)),
    if limit.kind == "proportion":
        return tuple(Change(("proportions", entry, end), number_written(to))
                     for entry in _entries_of(place, end, table, recipe))
    return _part_moved(recipe, place, end, to, table)


def target_moved(nutrient: str, end: str, to: Fraction, table: Mapping[str, Any], columns: Sequence[str]
                 ) -> tuple[Change, ...]:
    """The changes that move one end of a target, or set one: of the ratio or of a nutrient of the table."""
    alone = {RATIO: "min"}.get(nutrient, "max")
    beside = None
    for key, written in table.get("targets", {}).items():
        of, unit = target_meant(key, columns)
        ends = written if isinstance(written, Mapping) else {alone: written}
        for name, amount in ends.items():
            if of is not None and share_meant(of, amount)[0] == nutrient:
                place: Place = ("targets", key, name) if isinstance(written, Mapping) else ("targets", key)
                if name == end:
                    return Change(place, _amount(amount, to, unit)),
                other = ratio_value(amount) if of == RATIO and isinstance(amount, str) else amount
                beside = Change(("targets", key, end), number_written(to / unit)) if len(place) == 3 else \
                    Change(place, {name: other or 0, end: number_written(to)})
    if beside is not None:
        return beside,
    name = nutrient if nutrient == RATIO else nutrient.rpartition("_")[0]
    return Change(("targets", name), number_written(to)),


def _amount(written: object, to: Fraction, unit: int) -> Value:
    """An amount of a target in the unit of its key; a share in per cent stays one, in the same words."""
    if isinstance(written, str) and per_cent(written):
        return re.sub(r"[0-9]*\.?[0-9]+|[0-9]+\.", short(to * HUNDRED, TYPED_DECIMALS), written, count=1)
    return number_written(to / unit)


def _entries_of(place: int, end: str, table: Mapping[str, Any], recipe: Recipe) -> Iterator[int]:
    """Where the file has this end of a proportion: of two that say the same the tighter one counts, so both move."""
    share = recipe.proportions[place]
    for entry, written in enumerate(table.get("proportions", ())):
        groups = [group_labels(_labels(written.get(key)), recipe.ingredients) for key in ("of", "to")]
        if groups == [share.of, share.to] and end in written:
            yield entry


def _labels(group: object) -> list[str]:
    return [group] if isinstance(group, str) else [one_line(str(name)) for name in group or ()]  # type: ignore[attr-defined]


def _part_moved(recipe: Recipe, place: int, end: str, to: Fraction, table: Mapping[str, Any]) -> tuple[Change, ...]:
    part = recipe.parts[place]
    key = next((key for key in table.get("parts", {}) if one_line(key) == part.name), None)
    if key is not None:
        return Change(("parts", key, end), number_written(to)),
    ends: dict[str, Value] = {
        name: number_written(to if name == end else value)
        for name, value in (("min", part.minimum), ("max", part.maximum)) if value is not None}
    return Change(("keep_weight",), None), Change(("parts", BATCH), ends)


# --- ingredients ----------------------------------------------------------------------------------------------------


def bounds_set(place: int, low: Fraction | float | None, high: Fraction | float | None) -> tuple[Change, ...]:
    """The changes that let an ingredient move between two weights (g), or fix it at its start where there are none."""
    return (Change(("ingredients", place, "min"), None if low is None else number_written(low)),
            Change(("ingredients", place, "max"), None if high is None else number_written(high)))


def food_added(food: Food, most: Fraction, recipe: Recipe, table: Mapping[str, Any]) -> tuple[Change, ...]:
    """The change that adds a food as a candidate: none at the start, from 0 to so many g."""
    taken = {item.label.lower() for item in recipe.ingredients}
    label: dict[str, Value] = {"label": f"{food.name}, added"} if food.name.lower() in taken else {}
    return Change(("ingredients", len(table.get("ingredients", ()))),
                  {"food": food.name, **label, "grams": 0, "min": 0, "max": number_written(most)}),


def food_swapped(place: int, recipe: Recipe, new: Ingredient, table: Mapping[str, Any]) -> tuple[Change, ...]:
    """The changes that put an ingredient in the place of another, in the groups that name it too.

    Parameters
    ----------
    place : int
    recipe : Recipe
        As the file holds it.
    new : Ingredient
        As `swap` makes it.
    table : mapping
        The values of the file.
    """
    old = recipe.ingredients[place]
    before, after = dict(ingredient_keys(old)), dict(ingredient_keys(new))
    written = table["ingredients"][place]
    changes = [Change(("ingredients", place, key), value) for key, value in after.items()
               if value != before[key] or (value is None and key in written)]
    if "measure" in written:
        changes.append(Change(("ingredients", place, "measure"), None))
        if "grams" not in written:
            changes.append(Change(("ingredients", place, "grams"), number_written(old.start)))
    return *changes, *_with_new_label(old.label, new.label, recipe, table)


def _with_new_label(old: str, new: str, recipe: Recipe, table: Mapping[str, Any]) -> Iterator[Change]:
    """The groups that name an ingredient, with its new label."""
    keys = (("proportions", "of"), ("proportions", "to"), ("choose", "from"))
    for name, key in keys:
        for entry, written in enumerate(table.get(name, ())):
            group = written.get(key)
            for number, named in enumerate(_labels(group)):
                if group_labels([named], recipe.ingredients) == (old,) and named != new:
                    yield Change((name, entry, key) if isinstance(group, str) else (name, entry, key, number), new)
