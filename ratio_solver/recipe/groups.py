"""Groups of ingredients in a recipe file: parts, proportions and choices."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from ratio_solver.errors import one_line
from ratio_solver.exact import ZERO, exact
from ratio_solver.foods.table import suggestion
from ratio_solver.recipe.model import BATCH, Choose, Ingredient, Part, Proportion
from ratio_solver.recipe.reader import HEAVIEST, Reader

HIGHEST_SHARE = 1000.0
"""Of one group in another."""


def read_parts(top: Reader, ingredients: Sequence[Ingredient]) -> tuple[Part, ...]:
    """Limits on the weight of parts, ``[parts.NAME]``, and of the batch, ``keep_weight`` or ``[parts.batch]``."""
    share = top.number("keep_weight", 0.0, 1.0, "the share of the batch's weight by which it may change, 0.1 for 10 %")
    kept = () if share is None else _kept_weight(top, share, ingredients)
    return (*_written_parts(top, ingredients), *kept)


def _kept_weight(top: Reader, share: float, ingredients: Sequence[Ingredient]) -> tuple[Part, ...]:
    """The batch held to its weight at the start, where that is known."""
    written = top.table.get("parts")
    if isinstance(written, Mapping) and BATCH in written:
        top.fault("keep_weight", share, f"expected keep_weight or [parts.{BATCH}], not both")
    if not any(ingredient.start for ingredient in ingredients):
        if not top.faults:
            top.fault("keep_weight", share, "expected a batch that weighs something at the start")
        return ()
    return (batch_within(share, ingredients),)


def batch_within(share: float, ingredients: Sequence[Ingredient]) -> Part:
    """The batch held within a share of its weight at the start.

    >>> from ratio_solver.foods.food import Food
    >>> batch_within(0.1, [Ingredient("oil", Food("oil", "oil", "available", {}), 250.0)])
    Part(name='batch', minimum=225.0, maximum=275.0)
    """
    start = sum((exact(ingredient.start) for ingredient in ingredients), ZERO)
    return Part(BATCH, *(round(float(start * (1 + sign * exact(share))), 9) for sign in (-1, 1)))


def _written_parts(top: Reader, ingredients: Sequence[Ingredient]) -> tuple[Part, ...]:
    tables = top.inner("parts")
    if tables is None:
        return ()
    used = dict.fromkeys(ingredient.part for ingredient in ingredients if ingredient.part)
    found = []
    for key in tables.table:
        reader, name = tables.inner(key), one_line(key)
        if reader is None:
            continue
        reader.known_keys(("min", "max"))
        if name not in used and name != BATCH:
            reader.fault("", None, "is the part of no ingredient" + suggestion(name, used))
        found.append(Part(name, *reader.ends(HEAVIEST, "the weight of the part in g")))
    return tuple(found)


def read_proportions(top: Reader, ingredients: Sequence[Ingredient]) -> tuple[Proportion, ...]:
    """Shares of one group in another, ``[[proportions]]``."""
    found = []
    for reader in top.each("proportions"):
        reader.known_keys(("of", "to", "min", "max"))
        of, of_name, of_batch = _named_group(reader, "of", ingredients)
        to, to_name, to_batch = _named_group(reader, "to", ingredients)
        low, high = reader.ends(HIGHEST_SHARE, "a share, 0.1 for a tenth")
        if of and set(of) <= set(to):  # a share of a whole; of something else 2 may well be meant: twice as much
            for end, share in (("min", low), ("max", high)):
                if share is not None and share > 1:
                    reader.fault(end, share, "expected a share from 0 to 1, such as 0.08 for 8 %")
        found.append(Proportion(of, to, of_name, to_name, low, high, of_batch, to_batch))
    return _merged(found)


def _merged(shares: Sequence[Proportion]) -> tuple[Proportion, ...]:
    """One proportion per share: of two limits on the same share only the tighter one says anything."""
    found: dict[Proportion, Proportion] = {}
    for share in shares:
        key = replace(share, minimum=None, maximum=None)
        other = found.get(key, share)
        lows = [low for low in (other.minimum, share.minimum) if low is not None]
        highs = [high for high in (other.maximum, share.maximum) if high is not None]
        found[key] = replace(other, minimum=max(lows, default=None), maximum=min(highs, default=None))
    return tuple(found.values())


def read_chooses(top: Reader, ingredients: Sequence[Ingredient]) -> tuple[Choose, ...]:
    """At most so many of some ingredients, ``[[choose]]``."""
    found = []
    for reader in top.each("choose"):
        reader.known_keys(("from", "at_most"))
        labels, _, _ = _named_group(reader, "from", ingredients)
        at_most = reader.whole("at_most", 0, 1000, "how many of them may be used")
        reader.required("at_most", "expected how many of them may be used")
        if labels and at_most is not None and at_most > len(labels):
            reader.fault("at_most", at_most, f"expected at most {len(labels)}, as many as it chooses from")
        found.append(Choose(labels, at_most or 0))
    return tuple(found)


def _named_group(reader: Reader, key: str, ingredients: Sequence[Ingredient]) -> tuple[tuple[str, ...], str, bool]:
    """Labels of a group, its name, and whether the batch is in it: labels or parts as a list, one alone or "batch"."""
    value = reader.table.get(key)
    names = [value] if isinstance(value, str) else value
    if not isinstance(names, list | tuple) or not names or not all(isinstance(name, str) for name in names):
        reader.fault(key, value, "expected a list of labels, the name of a part or 'batch'")
        return (), "", False
    labels: list[str] = []
    called: list[str] = []
    for name in map(one_line, names):
        members = _members(name, ingredients)
        if not members:
            known = [BATCH, *(i.label for i in ingredients), *(i.part for i in ingredients if i.part)]
            reader.fault(key, name, "is no ingredient's label and no part" + suggestion(name, known))
        labels.extend(members)
        called.append(members[0] if len(members) == 1 and not isinstance(value, str) else name)
    return tuple(dict.fromkeys(labels)), " + ".join(called), BATCH in (" ".join(name.lower().split()) for name in names)


def group_labels(names: Sequence[str], ingredients: Sequence[Ingredient]) -> tuple[str, ...]:
    """Labels of the ingredients that these names of labels or parts, or "batch", mean together."""
    return tuple(dict.fromkeys(label for name in names for label in _members(name, ingredients)))


def _members(name: str, ingredients: Sequence[Ingredient]) -> list[str]:
    wanted = " ".join(name.lower().split())
    if wanted == BATCH:
        return [ingredient.label for ingredient in ingredients]
    by_label = [i.label for i in ingredients if i.label.lower() == wanted]
    by_part = [i.label for i in ingredients if i.part and i.part.lower() == wanted]
    by_food = [i.label for i in ingredients if wanted in (i.food.id.lower(), i.food.name.lower())]
    return by_label or by_part or by_food


def check_groups(top: Reader, ingredients: Mapping[str, Ingredient], parts: Sequence[Part]) -> None:
    """A name means one thing: no label is also a part, none is "batch"; ingredients by their place in the file."""
    names = {ingredient.part.lower() for ingredient in ingredients.values() if ingredient.part}
    names |= {part.name.lower() for part in parts} | {BATCH}
    for place, ingredient in ingredients.items():
        if ingredient.label.lower() in names:
            top.fault(f"{place}.label", ingredient.label,
                      "expected a label that is not also a part or 'batch'")
