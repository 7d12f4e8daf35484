"""What if a target were another: the same dish solved under each scenario, beside the base answer."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from ratio_solver.errors import BadInput, Fault, collected, one_line, shown
from ratio_solver.foods.nutrients import column_named, stem_of
from ratio_solver.foods.sizes import LARGEST, sensible
from ratio_solver.foods.table import FoodTable, suggestion
from ratio_solver.outcome import Outcome
from ratio_solver.recipe.change import with_servings
from ratio_solver.recipe.find import place_named
from ratio_solver.recipe.model import RATIO, Ingredient, Recipe
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.recipe.targets import override, target_column
from ratio_solver.solving.result import Answer
from ratio_solver.solving.solve import solve

OPTION = "--what-if"
_SIGN = re.compile(r">=|<=|=")
_END = re.compile(r"\.\s*(?:min|max)\s*[<>=]")
_EXPECTED = ("expected ratio=R, net_carbs=G, servings=N, NAME>=X or NAME<=X (NAME_min=X, NAME_max=X) of a nutrient, "
             "INGREDIENT.min=G or INGREDIENT.max=G, several parted by commas")
_ONCE = "expected each end of a target or bound once"
_MIN, _MAX = "_min", "_max"
SERVINGS = "servings"
MOST_SERVINGS = 100_000


@dataclass(frozen=True)
class Scenario:
    """One scenario.

    Attributes
    ----------
    text : str
        As it was asked: "ratio=2.5,net_carbs=8".
    recipe : Recipe
        Held to the targets of the scenario.
    answer : Proposal or Impossible
    """

    text: str
    recipe: Recipe
    answer: Answer


@dataclass(frozen=True, repr=False)
class WhatIf(Outcome):
    """The base answer and those of the scenarios; its `outcome` is that of the base answer."""

    base: Answer
    scenarios: tuple[Scenario, ...]

    reported_in = "tools.what_if.report"

    @property
    def outcome(self) -> str:
        """What came out of the recipe as it is."""
        return self.base.outcome

    @property
    def columns(self) -> tuple[tuple[str, Answer], ...]:
        """Heading and answer of each column, the base first."""
        return ("base", self.base), *((scenario.text, scenario.answer) for scenario in self.scenarios)


def what_if(recipe: Recipe, foods: FoodTable, scenarios: Iterable[str], prefer: str = "closest",
            **how: bool) -> WhatIf:
    """Solve a recipe as it is and under each scenario.

    Parameters
    ----------
    recipe : Recipe
    foods : FoodTable
        Whose nutrient columns a scenario may name.
    scenarios : iterable of str
        Each one or more changes parted by commas: "ratio=2.5" (at least), "net_carbs=8" (at most, g per
        serving), "protein>=20", "protein<=30" (or "protein_min=20", "protein_max=30"), "servings=8" (the same
        batch in so many portions), "turnip.max=310", "turnip.min=50" (bounds of an ingredient, g for the batch;
        both make a fixed one adjustable). A change replaces that end of the target or bound; the others stay.
    prefer, **how
        As in `ratio_solver.solve`.

    Raises
    ------
    BadInput
        With every scenario that cannot be read.
    """
    texts = tuple(scenarios)
    faults: list[Fault] = []
    columns = foods.with_tables(recipe.tables).columns
    recipes = [_changed(recipe, columns, text, faults) for text in texts]
    collected(faults)
    return WhatIf(
        solve(recipe, prefer, foods=None, **how),
        tuple(Scenario(one_line(text), changed, solve(changed, prefer, foods=None, **how))
              for text, changed in zip(texts, recipes, strict=True)),
    )


@dataclass
class _Changes:
    """What the parts of one scenario ask for, gathered as they are read."""

    ratio: str | None = None
    net_carbs: float | None = None
    servings: int | None = None
    targets: list[str] = field(default_factory=list)
    bounds: dict[int, dict[str, float]] = field(default_factory=dict)
    seen: set[tuple[object, str]] = field(default_factory=set)


def _changed(recipe: Recipe, columns: Sequence[str], text: str, faults: list[Fault]) -> Recipe:
    """The recipe of one scenario; what cannot be read goes to `faults`."""
    changes = _Changes()
    for part in _parts(text):
        name, sense, value = _signed(part)
        label, _, end = (word.strip() for word in name.rpartition("."))
        if not value or " " in value:
            problem = _EXPECTED
        elif label and end in ("min", "max"):
            problem = _read_bound(recipe, label, end, sense, value, changes)
        else:
            problem = _read_target(columns, name, sense, value, changes)
        if problem:
            faults.append(Fault(OPTION, text, shown(part), problem))
    try:
        changed = override(recipe, columns, ratio=changes.ratio, net_carbs=changes.net_carbs,
                           targets=changes.targets)
    except BadInput as bad:
        faults.extend(Fault(OPTION, ": ".join(filter(None, (text, fault.place))), fault.got, fault.expected)
                      for fault in bad.faults)
        return recipe
    changed = replace(changed, ingredients=tuple(
        _bounded(ingredient, changes.bounds[place], text, faults) if place in changes.bounds else ingredient
        for place, ingredient in enumerate(changed.ingredients)))
    return changed if changes.servings is None else with_servings(changed, changes.servings)


def _parts(text: str) -> Iterator[str]:
    """The changes of a scenario; a comma inside an ingredient's name parts nothing.

    A piece without a sign is the start of such a name where the next sign follows .min or .max.
    """
    held: list[str] = []
    pieces = text.split(",")
    for piece, waits in zip(pieces, _followed(pieces), strict=True):
        held.append(piece)
        if not _SIGN.search(piece) and waits and any(map(str.strip, held)):
            continue
        yield ",".join(held)
        held = []


def _followed(pieces: Sequence[str]) -> list[bool]:
    """For each piece whether the next one with a sign after it bounds an ingredient."""
    found, bounds = [], False
    for piece in reversed(pieces):
        found.append(bounds)
        bounds = bool(_END.search(piece)) if _SIGN.search(piece) else bounds
    return found[::-1]


def _signed(part: str) -> tuple[str, str, str]:
    """What stands before the last sign, the sign, and what follows it."""
    signs = list(_SIGN.finditer(part))
    if not signs:
        return "", "", ""
    start, end = signs[-1].span()
    return part[:start].strip(), part[start:end], part[end:].strip()


def _read_bound(recipe: Recipe, name: str, end: str, sense: str, value: str, changes: _Changes) -> str:
    """Take in LABEL.min=G or LABEL.max=G; what is wrong with it, or nothing."""
    unknown: list[Fault] = []
    place = place_named(name, recipe, OPTION, unknown)
    grams = _number(value)
    if place is None:
        return unknown[0].expected
    if sense != "=" or grams is None or grams > HEAVIEST:
        return f"expected {name}.{end}=G, the weight in g for the batch, 0 to {HEAVIEST:,.0f}"
    if (place, end) in changes.seen:
        return _ONCE
    changes.seen.add((place, end))
    changes.bounds.setdefault(place, {})[end] = grams
    return ""


def _bounded(ingredient: Ingredient, bounds: dict[str, float], text: str, faults: list[Fault]) -> Ingredient:
    """The ingredient with other bounds; a fixed one needs both."""
    low = bounds.get("min", ingredient.minimum)
    high = bounds.get("max", ingredient.maximum)
    if low is None or high is None:
        faults.append(Fault(OPTION, text, "", f"{ingredient.label} is fixed at {ingredient.start:g} g; "
                                              "expected both .min and .max, which make it adjustable"))
        return ingredient
    if low > high:
        faults.append(Fault(OPTION, text, f"{low:g}", f"expected a least of {ingredient.label} of at most its most, "
                                                      f"{high:g} g"))
    return replace(ingredient, minimum=low, maximum=high)


def _read_target(columns: Sequence[str], name: str, sense: str, value: str, changes: _Changes) -> str:
    """Take in a change of a target or of the servings; what is wrong with it, or nothing."""
    if not name:
        return _EXPECTED
    what, end = _end(name, sense, columns)
    if what is None:
        return _unknown(name, columns)
    if (what, end) in changes.seen:
        return _ONCE
    changes.seen.add((what, end))
    if what == SERVINGS:
        if sense != "=" or not value.isdecimal() or not 1 <= int(value) <= MOST_SERVINGS:
            return "expected servings=N, a whole number of servings, 1 or more"
        changes.servings = int(value)
    elif sense != "=" or name.lower().endswith((_MIN, _MAX)):
        stem = name if sense != "=" else name[:-len(_MIN)]
        changes.targets.append(f"{stem}{'>=' if end == 'min' else '<='}{value}")
    elif what == RATIO:
        changes.ratio = value
    elif (amount := _number(value)) is None:
        return f"expected {name}=G, g per serving, 0 or more"
    else:
        changes.net_carbs = amount
    return ""


def _end(name: str, sense: str, columns: Sequence[str]) -> tuple[str | None, str]:
    """What a name with its sign is about, and which end of it; (None, "") where it is neither."""
    if name == SERVINGS:
        return SERVINGS, ""
    if sense != "=":
        return (RATIO if name == RATIO else column_named(name, columns) or name), "min" if sense == ">=" else "max"
    return target_column(name, columns) or (None, "")


def _unknown(name: str, columns: Sequence[str]) -> str:
    """What to say of NAME=value where that is no change."""
    if column_named(name, columns):
        return f"expected {name}>=X or {name}<=X"
    known = [RATIO, "net_carbs", SERVINGS, *(stem_of(column) + end for column in columns for end in (_MIN, _MAX))]
    return f"{name} is nothing that a scenario changes{suggestion(name, known)}; {_EXPECTED}"


def _number(text: str) -> float | None:
    value = float(text) if re.fullmatch(r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+", text) else None
    return value if value is not None and value <= LARGEST and sensible(value) else None
