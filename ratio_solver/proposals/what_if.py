"""What if a target were another: the same dish solved under each scenario, beside the base answer."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ratio_solver.faults import BadInput, Fault, collected, shown
from ratio_solver.foods.nutrients import NET_CARBS, column_named
from ratio_solver.foods.table import FoodTable
from ratio_solver.proposals.answer import Answer
from ratio_solver.proposals.propose import solve
from ratio_solver.recipes.recipe import RATIO, Recipe
from ratio_solver.recipes.scaling import with_servings
from ratio_solver.recipes.targets import override

OPTION = "--what-if"
_CHANGE = re.compile(r"\s*([A-Za-z][\w -]*?)\s*(>=|<=|=)\s*(\S+)\s*")
_EXPECTED = "expected ratio=R, net_carbs=G, servings=N, NAME>=X or NAME<=X, several parted by commas"
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


@dataclass(frozen=True)
class WhatIf:
    """The base answer and those of the scenarios."""

    base: Answer
    scenarios: tuple[Scenario, ...]

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
        serving), "protein>=20", "protein<=30", "servings=8" (the same batch in so many portions). A change
        replaces that end of the target; the others stay.
    prefer, **how
        As in `ratio_solver.solve`.

    Raises
    ------
    BadInput
        With every scenario that cannot be read.
    """
    texts = tuple(scenarios)
    faults: list[Fault] = []
    recipes = [_changed(recipe, foods.columns, text, faults) for text in texts]
    collected(faults)
    return WhatIf(
        solve(recipe, prefer, **how),
        tuple(Scenario(text.strip(), changed, solve(changed, prefer, **how))
              for text, changed in zip(texts, recipes, strict=True)),
    )


def _changed(recipe: Recipe, columns: Sequence[str], text: str, faults: list[Fault]) -> Recipe:
    """The recipe of one scenario; what cannot be read goes to `faults`."""
    ratio: str | None = None
    net_carbs: float | None = None
    servings: int | None = None
    targets: list[str] = []
    seen: set[tuple[str, str]] = set()
    for part in text.split(","):
        match = _CHANGE.fullmatch(part)
        if match is None:
            faults.append(Fault(OPTION, text, shown(part), _EXPECTED))
            continue
        name, sense, value = match.groups()
        nutrient = column_named(name, columns)
        if (name.lower(), sense) in seen:
            faults.append(Fault(OPTION, text, shown(part), "expected each end of a target once"))
        seen.add((name.lower(), sense))
        if sense != "=":
            targets.append(f"{name}{sense}{value}")
        elif name == RATIO:
            ratio = value
        elif nutrient == NET_CARBS and (amount := _number(value)) is not None:
            net_carbs = amount
        elif name == "servings" and value.isdecimal() and 1 <= int(value) <= MOST_SERVINGS:
            servings = int(value)
        elif name == "servings" or nutrient == NET_CARBS:
            faults.append(Fault(OPTION, text, shown(value), "expected a whole number of servings, 1 or more"
                                if name == "servings" else "expected g per serving, 0 or more"))
        else:
            faults.append(Fault(OPTION, text, shown(part), f"expected {name}>=X or {name}<=X"))
    try:
        changed = override(recipe, columns, ratio=ratio, net_carbs=net_carbs, targets=targets)
    except BadInput as bad:
        faults.extend(Fault(OPTION, ": ".join(filter(None, (text, fault.place))), fault.got, fault.expected)
                      for fault in bad.faults)
        return recipe
    return changed if servings is None else with_servings(changed, servings)


def _number(text: str) -> float | None:
    return float(text) if re.fullmatch(r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+", text) else None
