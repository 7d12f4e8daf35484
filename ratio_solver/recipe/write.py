"""A recipe as the text of a recipe file."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from ratio_solver.foods.bundled import BUNDLED
from ratio_solver.foods.policy import Policy
from ratio_solver.recipe.groups import group_labels
from ratio_solver.recipe.model import LANGUAGES, Ingredient, Part, Presentation, Proportion, Recipe, Target

Value = str | float | int | Sequence["Value"] | dict[str, "Value"]


def recipe_text(recipe: Recipe, folder: str | Path | None = None) -> str:
    """The recipe file (TOML) that reads back as this recipe, with the same composition tables.

    Those that the recipe names are written with their paths from the folder of the file, where it is given.

    Parameters
    ----------
    recipe : Recipe
    folder : path, optional
        Of the file; paths of tables are written from there.

    Returns
    -------
    str

    Examples
    --------
    >>> from ratio_solver import load_foods, read_recipe, recipe_text
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> recipe_text(gratin).splitlines()[0]
    'title = "Gratin of celeriac and kohlrabi"'
    """
    top: list[tuple[str, Value | None]] = [
        ("title", recipe.title), ("foods", [table_from(table, folder) for table in recipe.tables] or None),
        ("servings", recipe.servings), ("pieces", recipe.pieces),
        ("finished_grams", recipe.finished_grams), ("cooking_loss", recipe.cooking_loss),
        ("note", recipe.note or None), ("method", list(recipe.method) or None),
        *_presentation_keys(recipe.presentation, folder),
    ]
    blocks = [toml_lines(top)]
    if recipe.targets:
        blocks.append("[targets]\n" + toml_lines((target.nutrient, _ends_keys(target)) for target in recipe.targets))
    if recipe.policy != Policy():
        blocks.append("[policy]\n" + toml_lines(_policy_keys(recipe.policy)))
    blocks += ["[[ingredients]]\n" + toml_lines(ingredient_keys(ingredient)) for ingredient in recipe.ingredients]
    blocks += [f"[parts.{toml_key(part.name)}]\n" + toml_lines(_ends_keys(part).items()) for part in recipe.parts]
    blocks += ["[[proportions]]\n" + toml_lines(_proportion_keys(share, recipe)) for share in recipe.proportions]
    blocks += ["[[choose]]\n" + toml_lines([("from", list(choose.labels)), ("at_most", choose.at_most)])
               for choose in recipe.chooses]
    return "\n\n".join(blocks) + "\n"


def _presentation_keys(told: Presentation, folder: str | Path | None) -> list[tuple[str, Value | None]]:
    photo = table_from(told.photo, folder) if told.photo else None
    return [("author", told.author or None), ("yield_text", told.yield_text or None),
            ("times", dict(told.times) or None), ("photo", photo),
            ("language", None if told.language == LANGUAGES[0] else told.language),
            ("percent_of", list(told.percent_of) or None)]


def table_from(table: str, folder: str | Path | None) -> str:
    """The name of a bundled table, or the path of one's own from a folder, as a recipe file there names it."""
    if table in BUNDLED or folder is None:
        return table
    try:
        return Path(os.path.relpath(table, folder)).as_posix()
    except ValueError:  # on another drive
        return table


def ingredient_keys(ingredient: Ingredient) -> list[tuple[str, Value | None]]:
    """Keys of an ingredient in a recipe file, with their values; None is left out."""
    named = ingredient.label != ingredient.food.name
    return [
        ("food", ingredient.food.name), ("label", ingredient.label if named else None),
        ("grams", ingredient.start), ("min", ingredient.minimum), ("max", ingredient.maximum),
        ("part", ingredient.part), ("prepared", ingredient.prepared),
        ("yield", None if ingredient.prepared or ingredient.yield_ == 1 else ingredient.yield_),
        ("drippings", ingredient.drippings), ("step", ingredient.step), ("piece", ingredient.piece),
        ("keep", None if ingredient.keep == 1 else ingredient.keep),
    ]


def _ends_keys(limits: Target | Part | Proportion) -> dict[str, Value]:
    ends: dict[str, Value | None] = {"min": limits.minimum, "max": limits.maximum}
    return {key: value for key, value in ends.items() if value is not None}


def _proportion_keys(share: Proportion, recipe: Recipe) -> list[tuple[str, Value | None]]:
    return [("of", _group_value(share.of, share.of_name, recipe)),
            ("to", _group_value(share.to, share.to_name, recipe)), *_ends_keys(share).items()]


def _group_value(labels: tuple[str, ...], name: str, recipe: Recipe) -> Value:
    """The group as the cook named it, where that still means these ingredients; else its labels."""
    if group_labels([name], recipe.ingredients) == labels:
        return name
    names = name.split(" + ")
    return names if group_labels(names, recipe.ingredients) == labels else list(labels)


def _policy_keys(policy: Policy) -> list[tuple[str, Value | None]]:
    return [("ratio_formula", policy.ratio_formula), ("left_out", dict(policy.left_out)),
            ("unknown_as_zero", list(policy.unknown_as_zero) or None),
            ("energy", None if policy.energy == Policy().energy else policy.energy), ("mct_energy", policy.mct_energy)]


def toml_lines(pairs: Iterable[tuple[str, Value | None]]) -> str:
    """Keys and values as lines of TOML; what is None is left out."""
    return "\n".join(f"{toml_key(key)} = {_toml_value(value)}" for key, value in pairs if value is not None)


def _toml_value(value: Value) -> str:
    if isinstance(value, str):
        return _toml_string(value)
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml_key(key)} = {_toml_value(item)}" for key, item in value.items()) + "}"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else repr(value)
    return "[" + ", ".join(map(_toml_value, value)) + "]"


def toml_key(key: str) -> str:
    """A key of TOML: bare where it can be, else as a string."""
    bare = key and key.isascii() and all(letter.isalnum() or letter in "-_" for letter in key)
    return key if bare else _toml_string(key)


def _toml_string(text: str) -> str:
    """A basic string of TOML 1.0: quotes, backslashes and control characters escaped."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(
        f"\\u{ord(letter):04x}" if ord(letter) < 32 or ord(letter) == 127 else letter for letter in escaped
    ) + '"'
