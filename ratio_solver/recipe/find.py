"""Which ingredient of a recipe a typed name means, and grams given by name."""

from __future__ import annotations

from collections.abc import Sequence

from ratio_solver.errors import Fault, collected, one_line, shown
from ratio_solver.foods.csv_file import number
from ratio_solver.foods.sizes import sensible
from ratio_solver.foods.table import suggestion
from ratio_solver.recipe.model import Recipe


def place_named(name: str, recipe: Recipe, source: str, faults: list[Fault]) -> int | None:
    """Place of the ingredient that a name means, or None with a fault kept.

    A label, a food's name or id; else the start of one, else words of one, where a single ingredient fits.
    """
    wanted = one_line(name).lower()
    names = [(i.label.lower(), i.food.name.lower(), i.food.id.lower()) for i in recipe.ingredients]
    words = wanted.replace(",", " ").split()
    tries = (
        [place for place, (label, _, _) in enumerate(names) if label == wanted],
        [place for place, keys in enumerate(names) if wanted in keys],
        [place for place, keys in enumerate(names) if any(key.startswith(wanted) for key in keys[:2])],
        [place for place, keys in enumerate(names)
         if words and any(all(word in key.replace(",", " ").split() for word in words) for key in keys[:2])],
    )
    for found in tries if wanted else ():
        if len(found) == 1:
            return found[0]
        if found:
            several = " or ".join(repr(recipe.ingredients[place].label) for place in found)
            faults.append(Fault(source, "", shown(name), f"fits several ingredients: {several}"))
            return None
    hint = suggestion(wanted, [label for label, _, _ in names]) or \
        f"; the recipe has {', '.join(i.label for i in recipe.ingredients)}"
    faults.append(Fault(source, "", shown(name), f"is no ingredient of the recipe{hint}"))
    return None


def named_grams(texts: Sequence[str], option: str, *, bare: bool = False) -> dict[str, float | None]:
    """Names and grams from texts such as "celeriac=712"; with `bare` the grams may be left out.

    Raises
    ------
    BadInput
        With every text that cannot be read.
    """
    faults: list[Fault] = []
    found: dict[str, float | None] = {}
    for text in texts:
        name, equals, amount = text.rpartition("=") if "=" in text else (text, "", "")
        grams = _grams_named(amount)
        if not name.strip() or (equals and grams is None) or not (equals or bare):
            form = "NAME or NAME=GRAMS" if bare else "NAME=GRAMS"
            faults.append(Fault(option, "", shown(text), f"expected {form}, grams with a point: celeriac=712.5"))
        if name.strip() in found:
            faults.append(Fault(option, name.strip(), "", "expected each name once"))
        found[name.strip()] = grams
    collected(faults)
    return found


def _grams_named(text: str) -> float | None:
    value = number(text.strip().removesuffix("g").strip())
    return value if value is not None and value >= 0 and sensible(value) else None
