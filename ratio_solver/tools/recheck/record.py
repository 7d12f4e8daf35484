"""The record of what was published: weights, figures, policy, tables, and the recipe itself.

It holds all that it takes to reckon everything again, and each food's figures as they were, so that it can be told
which of them moved.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ratio_solver.dish.check import DishAtWeights, check
from ratio_solver.errors import BadInput, Fault, collected, one_line, shown
from ratio_solver.exact import exact
from ratio_solver.foods.bundled import BUNDLED, DEFAULT_TABLE, bundled_path, table_ids
from ratio_solver.foods.csv_file import read_text
from ratio_solver.foods.ends import KINDS
from ratio_solver.foods.label_rules import LABELS
from ratio_solver.output.dish_text import policy_data
from ratio_solver.output.json_csv import Data, as_json
from ratio_solver.recipe.change import fixed
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.write import recipe_text
from ratio_solver.solving.result import Proposal
from ratio_solver.solving.written import kept_weights
from ratio_solver.tools.card.claims import Claim, claims_of, figures_of

RECORD_FORMAT = 1
"""Of the file; a reader refuses one that it does not know."""

RECORD_BYTES = 64 << 20
"""At most."""


@dataclass(frozen=True)
class Published:
    """One dish as it was published.

    Attributes
    ----------
    title : str
    text : str
        The recipe file with its weights fixed.
    label : str
        Whose label the card had, or "none".
    guaranteed : {"mean", "food"} or None
    own_tables : tuple of str
        Paths of the tables of one's own it was reckoned with, beside those that the recipe names.
    claims : tuple of Claim
    foods : mapping of str to (mapping of str to str)
        By an ingredient's label what its food had of each column, per 100 g.
    """

    title: str
    text: str
    label: str
    guaranteed: Any
    own_tables: tuple[str, ...]
    claims: tuple[Claim, ...]
    foods: Mapping[str, Mapping[str, str]]


def record_text(dishes: Sequence[tuple[DishAtWeights, str]], label: str, folder: Path) -> str:
    """The record of dishes that are published together, as JSON.

    Parameters
    ----------
    dishes : sequence of (Proposal or Check, str)
        Each with the name of its card's file, which may be empty.
    label : {"none", "us", "eu"}
    folder : path
        Of the record: paths of tables are written from there.

    Returns
    -------
    str
        The same for the same dishes, always: there is no date in it.
    """
    told = [_dish_data(dish, card, label, folder) for dish, card in dishes]
    return as_json({"record": RECORD_FORMAT, "dishes": told}) + "\n"


def record(dishes: Sequence[DishAtWeights], path: str | Path, label: str = "none") -> str:
    """The record of dishes, as JSON, for a file at `path`: what `recheck` reads.

    Parameters
    ----------
    dishes : sequence of Proposal or Check
    path : path
        Where it will be written: paths of tables of one's own start from there.
    label : {"none", "us", "eu"}

    Returns
    -------
    str
        The same for the same dishes, always: there is no date in it.

    Raises
    ------
    BadInput
        Where there are no such rules of labels.

    Examples
    --------
    >>> from ratio_solver import check, load_foods, read_recipe, record
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> [told] = json.loads(record([check(gratin)], "published.json"))["dishes"]
    >>> told["published"][0], told["tables"][0]["id"]
    ({'name': 'total carbs', 'value': '33.85 g', 'of': ['carbs_g']}, 'foods')
    """
    if label != "none" and label not in LABELS:
        raise BadInput([Fault("label", "", shown(label), f"expected one of none, {', '.join(LABELS)}")])
    return record_text([(dish, "") for dish in dishes], label, Path(path).absolute().parent)


def _dish_data(dish: DishAtWeights, card: str, label: str, folder: Path) -> Data:
    """One dish: what its recipe file with these weights says, so that whoever reads that finds the same figures."""
    recipe = dish.recipe
    grams = kept_weights(dish) if isinstance(dish, Proposal) else dish.grams_of_each
    bowl = fixed(recipe, grams)
    same = tuple(exact(item.start) for item in bowl.ingredients) == dish.grams_of_each
    told = claims_of(dish if same else check(bowl, guaranteed=dish.guaranteed), label)
    text = recipe_text(bowl, folder)
    columns = list(dict.fromkeys(column for claim in told for column in claim.columns))
    return {
        "title": recipe.title,
        "card": card,
        "label": label,
        "guaranteed": dish.guaranteed or None,
        "policy": policy_data(recipe, dish.guaranteed, dish.grams_of_each),
        "recipe": {"file": os.path.basename(recipe.source), "sha256": _hash(text), "text": text},
        "tables": table_ids(recipe.composition),
        "own_tables": own_tables(recipe, folder),
        "weights": {item.label: item.start for item in bowl.ingredients},
        "published": [{"name": claim.name, "value": claim.value, "of": list(claim.columns)} for claim in told],
        "foods": [{"ingredient": item.label, "food": item.food.name, "id": item.food.id, "source": item.food.source,
                   "per_100_g": figures_of(item.food, columns, recipe.policy)} for item in bowl.ingredients],
    }


def own_tables(recipe: Recipe, folder: Path) -> list[str]:
    """Paths of the tables that neither come with the package nor are named by the recipe, from a folder."""
    known = {bundled_path(file) for file in (DEFAULT_TABLE, *BUNDLED.values())} | set(map(Path, recipe.tables))
    named = [*BUNDLED] if any(path == bundled_path(file) for file in BUNDLED.values() for path in recipe.composition) \
        and not set(BUNDLED) & set(recipe.tables) else []
    return [*named, *(_from(folder, path) for path in recipe.composition if path not in known)]


def _from(folder: Path, path: Path) -> str:
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # on another drive
        return str(path.absolute())


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def read_record(path: str | Path) -> tuple[Published, ...]:
    """The dishes of a record.

    Raises
    ------
    BadInput
        Where it is no record, or one that has been changed by hand.
    """
    source = str(path)
    try:
        data = json.loads(read_text(path, RECORD_BYTES))
    except (ValueError, RecursionError) as error:
        raise BadInput([Fault(source, "", "", f"is not JSON: {error}")]) from error
    if not isinstance(data, dict) or data.get("record") != RECORD_FORMAT or not isinstance(data.get("dishes"), list):
        raise BadInput([Fault(source, "", "", f"expected a record of what was published (format {RECORD_FORMAT})")])
    faults: list[Fault] = []
    found = [_published(dish, f"dishes[{place}]", source, faults) for place, dish in enumerate(data["dishes"], 1)]
    collected(faults)
    return tuple(one for one in found if one is not None)


def _published(dish: object, place: str, source: str, faults: list[Fault]) -> Published | None:
    try:
        assert isinstance(dish, dict)
        recipe, label, guaranteed = dish["recipe"], dish["label"], dish["guaranteed"]
        told = tuple(Claim(one_line(claim["name"]), one_line(claim["value"]), tuple(map(str, claim["of"])))
                     for claim in dish["published"])
        foods = {one_line(one["ingredient"]): {str(column): one_line(value)
                                               for column, value in one["per_100_g"].items()} for one in dish["foods"]}
        own = tuple(map(str, dish["own_tables"]))
        title, text, told_hash = one_line(dish["title"]), recipe["text"], recipe["sha256"]
        if (label != "none" and label not in LABELS) or guaranteed not in (None, *KINDS):
            raise ValueError(label)
        whole = isinstance(text, str) and _hash(text) == told_hash
    except (AssertionError, KeyError, TypeError, ValueError, AttributeError):
        faults.append(Fault(source, place, "", "expected a dish as `card --record` and `book` write it"))
        return None
    if not whole:
        faults.append(Fault(source, f"{place}.recipe", "", "is not the recipe that was recorded: its hash is another"))
        return None
    return Published(title, text, label, guaranteed, own, told, foods)
