"""What if a target were another: the same dish solved under each scenario, beside the base answer; and its report.

A scenario changes targets, servings and bounds; where it asks for another table or policy the recipe is written out and
read again, so that it is what it would be if its file said so.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ratio_solver.dish.cautions import strongest
from ratio_solver.errors import BadInput, Fault, collected, one_line, shown
from ratio_solver.foods.bundled import BUNDLED, table_path
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import column_named, stem_of
from ratio_solver.foods.sizes import LARGEST, MOST_SERVINGS, sensible
from ratio_solver.foods.table import FoodTable, suggestion
from ratio_solver.lp.clock import each_in_time, limited
from ratio_solver.outcome import Outcome
from ratio_solver.output.blocks import QUIET, Block, Text, headline
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.side_by_side import beside, column_rows, joint_notes, not_kept, state
from ratio_solver.recipe.find import place_named
from ratio_solver.recipe.model import RATIO, Ingredient, Recipe
from ratio_solver.recipe.read import recipe_from
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.recipe.targets import override, per_cent, target_column, target_key
from ratio_solver.recipe.write import recipe_text
from ratio_solver.solving.result import Answer
from ratio_solver.solving.solve import solve
from ratio_solver.tools.solve.report import PREFERRED

FOODS, POLICY = "foods", "policy."
REREAD_WORDS = "foods=TABLE, policy.KEY=VALUE"
"""How these changes are asked for, in the words of the recipe file."""


def reread(recipe: Recipe, foods: FoodTable, parts: Sequence[str]) -> Recipe:
    """The recipe with a table laid over the others, or with other choices behind its figures.

    Parameters
    ----------
    recipe : Recipe
    foods : FoodTable
        That it was read with.
    parts : sequence of str
        "foods=europe", "foods=own.csv", "policy.ratio_formula=total", "policy.energy=us",
        "policy.left_out.erythritol=0.5".

    Raises
    ------
    BadInput
        With what is wrong, each with the key that it is about.
    """
    if not parts:
        return recipe
    table: dict[str, Any] = tomllib.loads(recipe_text(recipe))
    for part in parts:
        key, _, value = (word.strip() for word in part.partition("="))
        if not value:
            raise BadInput([Fault("", key, "", f"expected {REREAD_WORDS}")])
        if key == FOODS:
            if value not in BUNDLED and not table_path(value).is_file():
                raise BadInput([Fault("", key, value, f"expected {' or '.join(BUNDLED)}, or the path of a CSV file")])
            foods = foods.under(value)
        else:
            _put(table, key.split("."), _number_or_text(value))
    return replace(recipe_from(table, foods, recipe.source), remarks=recipe.remarks, presentation=recipe.presentation)


def _put(table: dict[str, Any], keys: Sequence[str], value: object) -> None:
    """A value at its place in nested tables; where something else stands on the way it is left for its fault."""
    *path, last = keys
    for key in path:
        inner = table.setdefault(key, {})
        if not isinstance(inner, dict):
            table[key] = inner = {}
        table = inner
    table[last] = value


def _number_or_text(value: str) -> object:
    try:
        return float(value)
    except ValueError:
        return value


def asks_to_reread(part: str) -> bool:
    """Whether a change of a scenario is one of the table or the policy."""
    key = part.partition("=")[0].strip()
    return key == FOODS or key.startswith(POLICY)


OPTION = "--what-if"
_CHANGE = re.compile(r"(.*?)(>=|<=|=)((?:(?![<>]?=).)*)", re.DOTALL)
"""What stands before the last sign, the sign, and what follows it."""
_BOUND = re.compile(r"\.\s*(?:min|max)\s*[<>=]")
_EXPECTED = ("expected ratio=R, net_carbs=G, servings=N, NAME>=X or NAME<=X (NAME_min=X, NAME_max=X) of a nutrient, "
             f"INGREDIENT.min=G or INGREDIENT.max=G, {REREAD_WORDS}, several parted by commas")


@dataclass(frozen=True)
class Scenario:
    """One scenario.

    Attributes
    ----------
    text : str
        As it was asked: "ratio=2.5,net_carbs=8".
    answer : Proposal or Impossible
        Of the recipe held to the targets of the scenario.
    """

    text: str
    answer: Answer


@dataclass(frozen=True, repr=False)
class WhatIf(Outcome):
    """The base answer and those of the scenarios; its `outcome` is that of the base answer."""

    base: Answer
    scenarios: tuple[Scenario, ...]

    about = "base.recipe"

    @property
    def outcome(self) -> str:
        """What came out of the recipe as it is."""
        return self.base.outcome

    @property
    def cautions(self) -> tuple[str, ...]:
        """What goes with the ratios that are stated."""
        return strongest(answer.cautions for _, answer in self.columns)

    @property
    def columns(self) -> tuple[tuple[str, Answer], ...]:
        """Heading and answer of each column, the base first."""
        return ("base", self.base), *((scenario.text, scenario.answer) for scenario in self.scenarios)


def what_if(recipe: Recipe, foods: FoodTable, scenarios: Iterable[str], prefer: str = "closest",
            *, guaranteed: Guaranteed = None, exact: bool = False, time_limit: float | None = None) -> WhatIf:
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
        both make a fixed one adjustable), "foods=europe" (or a table of your own, laid over the others),
        "policy.ratio_formula=total", "policy.energy=us", "policy.left_out.erythritol=0.5". A change replaces that end
        of the target or bound; the others stay.
    prefer, guaranteed, exact, time_limit
        As in `ratio_solver.solve`; the time is that of all answers.

    Returns
    -------
    WhatIf

    Raises
    ------
    BadInput
        With every scenario that cannot be read.

    Examples
    --------
    >>> from ratio_solver import load_foods, read_recipe, what_if
    >>> foods = load_foods()
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", foods)
    >>> [(heading, answer.outcome) for heading, answer in what_if(gratin, foods, ["ratio=3", "net_carbs=5"]).columns]
    [('base', 'solved'), ('ratio=3', 'impossible'), ('net_carbs=5', 'impossible')]
    """
    texts = tuple(scenarios)
    faults: list[Fault] = []
    recipes = [_recipe_of(text, recipe, foods, faults) for text in texts]
    collected(faults)
    with limited(time_limit):
        base, *answers = [solve(dish, prefer, guaranteed=guaranteed, exact=exact)
                          for dish in each_in_time((recipe, *recipes))]
    return WhatIf(base, tuple(map(Scenario, map(one_line, texts), answers)))


@dataclass(frozen=True)
class _Change:
    """One change of a scenario.

    Attributes
    ----------
    option : {"ratio", "net_carbs", "target", "servings", "bound"}
    subject : str or int
        What it is about: a nutrient's column, the ratio, the servings, or an ingredient by its place.
    end : {"min", "max", ""}
    value : str, float or int
        A target as `override` takes it; g of a bound or of net carbs; a number of servings.
    """

    option: str
    subject: str | int
    end: str
    value: Any


def _recipe_of(scenario: str, recipe: Recipe, foods: FoodTable, faults: list[Fault]) -> Recipe:
    """The recipe of one scenario; what cannot be read goes to `faults`."""
    parts, columns = _parts_of_scenario(scenario), foods.with_tables(recipe.tables).columns
    asked: dict[tuple[str | int, str], _Change] = {}
    values: dict[str, list[Any]] = {}
    try:
        recipe = reread(recipe, foods, [part for part in parts if asks_to_reread(part)])
        for part in parts:
            if asks_to_reread(part):
                continue
            change = _read_change(part, recipe, columns)
            if not isinstance(change, str) and (change.subject, change.end) in asked:
                change = "expected each end of a target or bound once"
            if isinstance(change, str):
                faults.append(Fault(OPTION, scenario, shown(part), change))
            else:
                asked[change.subject, change.end] = change
                values.setdefault(change.option, []).append(change.value)
        (ratio,), (net_carbs,), (servings,) = (values.get(one, [None]) for one in ("ratio", "net_carbs", "servings"))
        changed = override(recipe, columns, ratio=ratio, net_carbs=net_carbs, targets=values.get("target", ()))
    except BadInput as bad:
        faults.extend(Fault(OPTION, ": ".join(filter(None, (scenario, fault.place))), fault.got, fault.expected)
                      for fault in bad.faults)
        return recipe
    return replace(changed, servings=servings or changed.servings, ingredients=tuple(
        _with_bounds(ingredient, {end: change.value for (subject, end), change in asked.items() if subject == place},
                     scenario, faults) for place, ingredient in enumerate(changed.ingredients)))


def _parts_of_scenario(text: str) -> list[str]:
    """The changes of a scenario; a comma inside an ingredient's name parts nothing.

    What has no sign before one that bounds an ingredient is the start of its name.
    """
    found: list[str] = []
    for piece in reversed(text.split(",")):
        if found and "=" not in piece and _BOUND.search(found[0]):
            found[0] = f"{piece},{found[0]}"
        else:
            found.insert(0, piece)
    return found


def _read_change(part: str, recipe: Recipe, columns: Sequence[str]) -> _Change | str:
    """One change, or what is wrong with it."""
    match = _CHANGE.fullmatch(part)
    name, sense, value = (word.strip() for word in match.groups()) if match else ("", "", "")
    label, _, end = (word.strip() for word in name.rpartition("."))
    if not value or (" " in value and not per_cent(value)) or not name or name.startswith(","):
        return _EXPECTED
    if label and end in ("min", "max"):
        return _read_bound(recipe, label, end, sense, value)
    if name == "servings":
        if sense != "=" or not value.isdecimal() or not 1 <= int(value) <= MOST_SERVINGS:
            return "expected servings=N, a whole number of servings, 1 or more"
        return _Change("servings", "servings", "", int(value))
    if sense != "=":
        what = target_key(name, value, columns) or name
        return _Change("target", what, "min" if sense == ">=" else "max", f"{name}{sense}{value}")
    what, end, _ = target_column(name, columns) or ("", "", 1)
    if not what:
        return _no_change(name, columns)
    if name.lower().endswith(("_min", "_max")):
        return _Change("target", what, end, f"{name[:-4]}{'>=' if end == 'min' else '<='}{value}")
    if what == RATIO:
        return _Change("ratio", what, end, value)
    amount = _amount_given(value)
    return f"expected {name}=G, g per serving, 0 or more" if amount is None else _Change("net_carbs", what, end, amount)


def _read_bound(recipe: Recipe, name: str, end: str, sense: str, value: str) -> _Change | str:
    """LABEL.min=G or LABEL.max=G, or what is wrong with it."""
    unknown: list[Fault] = []
    place, grams = place_named(name, recipe, OPTION, unknown), _amount_given(value)
    if place is None:
        return unknown[0].expected
    if sense != "=" or grams is None or grams > HEAVIEST:
        return f"expected {name}.{end}=G, the weight in g for the batch, 0 to {HEAVIEST:,.0f}"
    return _Change("bound", place, end, grams)


def _with_bounds(ingredient: Ingredient, bounds: Mapping[str, float], text: str, faults: list[Fault]) -> Ingredient:
    """The ingredient with other bounds; a fixed one needs both."""
    low, high = bounds.get("min", ingredient.minimum), bounds.get("max", ingredient.maximum)
    if bounds and (low is None or high is None):
        faults.append(Fault(OPTION, text, "", f"{ingredient.label} is fixed at {ingredient.start:g} g; "
                                              "expected both .min and .max, which make it adjustable"))
    elif bounds and low is not None and high is not None and low > high:
        faults.append(Fault(OPTION, text, f"{low:g}", f"expected a least of {ingredient.label} of at most its most, "
                                                      f"{high:g} g"))
    return replace(ingredient, minimum=low, maximum=high)


def _no_change(name: str, columns: Sequence[str]) -> str:
    """What to say of NAME=value where that is no change."""
    if column_named(name, columns):
        return f"expected {name}>=X or {name}<=X"
    known = [RATIO, "net_carbs", "servings", *(stem_of(column) + end for column in columns for end in ("_min", "_max"))]
    return f"{name} is nothing that a scenario changes{suggestion(name, known)}; {_EXPECTED}"


def _amount_given(text: str) -> float | None:
    """A number that a target or a bound may be; None where the text is none."""
    value = float(text) if re.fullmatch(r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+", text) else None
    return value if value is not None and value <= LARGEST and sensible(value) else None


ABREAST = 4
"""Columns side by side in 80 columns of text."""


def text(found: WhatIf) -> Block:
    """The scenarios as columns beside the base answer."""
    base, *others = found.columns
    parts: list[Block] = [
        headline(found.base.recipe.title, *state(found.base)),
        Text(f"What if, {PREFERRED[found.base.prefer]}:"),
    ]
    for place in range(0, len(others), ABREAST - 1):
        parts += [Text(""), beside([base, *others[place:place + ABREAST - 1]])]
    otherwise = (Text(f"{name}: {side.recipe.reckoned}.", QUIET) for name, side in others
                 if side.recipe.reckoned != found.base.recipe.reckoned)
    return (*parts, *not_kept(found.columns), joint_notes([side for _, side in found.columns]), *otherwise)


def data(found: WhatIf) -> Data:
    """The base answer in the keys of `solve`, and the scenarios under "what_if"."""
    return found.base.to_dict() | {
        "what_if": [{"scenario": one.text, **one.answer.to_dict()} for one in found.scenarios],
    }


def rows(found: WhatIf) -> Rows:
    """A figure a row, a column for each answer."""
    return column_rows(found.columns)
