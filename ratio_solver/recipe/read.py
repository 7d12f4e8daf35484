"""The recipe file (TOML): read whole, every fault kept, nothing repaired silently."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from ratio_solver.errors import BadInput, Fault, collected, one_line
from ratio_solver.foods.bundled import BUNDLED, placed, table_path
from ratio_solver.foods.csv_file import read_text
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import column_named
from ratio_solver.foods.policy import ENERGIES, MCT_ENERGIES, Policy
from ratio_solver.foods.quantities import RATIOS
from ratio_solver.foods.sizes import MOST_INGREDIENTS, MOST_SERVINGS, RECIPE_BYTES
from ratio_solver.foods.substances import BY_KEY
from ratio_solver.foods.table import FoodTable, suggestion
from ratio_solver.recipe.groups import check_groups, read_chooses, read_parts, read_proportions
from ratio_solver.recipe.heat import read_preparation
from ratio_solver.recipe.measures import counted_measure, measure_named, measured_grams
from ratio_solver.recipe.model import LANGUAGES, Ingredient, Presentation, Recipe
from ratio_solver.recipe.reader import HEAVIEST, Reader, lines_told
from ratio_solver.recipe.targets import read_targets
from ratio_solver.recipe.units import singular
from ratio_solver.recipe.weighing import of_its_kind

TOP_KEYS = ("title", "servings", "pieces", "note", "method", "targets", "policy", "ingredients", "parts",
            "proportions", "choose", "finished_grams", "cooking_loss", "foods", "keep_weight",
            "author", "times", "yield_text", "photo", "language", "percent_of")
INGREDIENT_KEYS = ("food", "grams", "min", "max", "label", "part", "yield", "step", "piece", "keep", "measure",
                   "prepared", "drippings")
TIMES = ("prep", "cook", "rest")
LONGEST_TIME = 100_000
"""Minutes: ten weeks."""


def read_recipe(path: str | Path, foods: FoodTable) -> Recipe:
    """Read a recipe file.

    Parameters
    ----------
    path : path
        A TOML file, UTF-8.
    foods : FoodTable
        Where the ingredients' composition comes from; tables that the file names (`foods`) go between those that come
        with the package and the cook's own.

    Returns
    -------
    Recipe

    Raises
    ------
    BadInput
        With every fault of the file, each with its place, the value and what was expected.

    Examples
    --------
    >>> from ratio_solver import load_foods, read_recipe
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> gratin.title, gratin.servings
    ('Gratin of celeriac and kohlrabi', 6)
    """
    return recipe_of_text(read_text(path, RECIPE_BYTES), foods, str(path), Path(path).parent)


def recipe_of_text(text: str, foods: FoodTable, source: str, folder: str | Path,
                   known: Mapping[str, object] | None = None) -> Recipe:
    """The recipe of a recipe file's text; `source` and `folder` as in `recipe_from`, faults as in `read_recipe`.

    `known` are the tables of the text where they are read already.
    """
    table = toml_tables(text, source) if known is None else known
    with lines_told(source, text, table):
        return recipe_from(table, foods, source, folder)


def toml_tables(text: str, source: str) -> dict[str, object]:
    """The tables of a TOML file's text; raises BadInput where it is none."""
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise BadInput([Fault(source, "", "", f"is not TOML: {error}{_comma_hint(text, str(error))}")]) from error


def _comma_hint(text: str, error: str) -> str:
    """A word on decimals where the line that cannot be read has a comma in a number."""
    at_line = re.search(r"at line ([0-9]+)", error)
    line = text.splitlines()[int(at_line[1]) - 1] if at_line else ""
    number = re.search(r"=\s*[+-]?([0-9]+),([0-9]+)", line)
    return f"; decimals take a point: {number[1]}.{number[2]}" if number else ""


def recipe_from(table: Mapping[str, object], foods: FoodTable, source: str = "recipe",
                folder: str | Path = "") -> Recipe:
    """A recipe from nested tables of the recipe file's shape; raises BadInput with every fault.

    Paths of tables that it names start from `folder`.

    Parameters
    ----------
    table : mapping
        As the TOML of a recipe file gives it.
    foods : FoodTable
    source : str
        What faults name as the file.
    folder : path
        Where paths of tables that it names start from.

    Returns
    -------
    Recipe

    Raises
    ------
    BadInput
        With every fault, each with its place, the value and what was expected.

    Examples
    --------
    >>> from ratio_solver import load_foods, recipe_from
    >>> dip = {"title": "Dip", "servings": 2, "ingredients": [{"food": "sour cream", "grams": 100}]}
    >>> recipe_from(dip, load_foods()).ingredients[0].label
    'sour cream'
    """
    faults: list[Fault] = []
    top = Reader(source, faults, "", table)
    top.known_keys(TOP_KEYS)
    title = top.text("title")
    top.required("title", "expected the dish's name")
    servings = top.whole("servings", 1, MOST_SERVINGS, "the number of servings in the batch")
    top.required("servings", "expected the number of servings in the batch")
    tables, foods = read_tables(top, foods, folder)
    lines = _ingredients(top, foods)
    meant = list(lines.values())
    targets = top.inner("targets")
    parts = read_parts(top, meant)
    recipe = Recipe(
        title=title or "",
        servings=servings or 1,
        ingredients=tuple(meant),
        targets=read_targets(targets, foods.columns) if targets else (),
        policy=read_policy(top.inner("policy"), foods.columns),
        parts=parts,
        proportions=read_proportions(top, meant),
        chooses=read_chooses(top, meant),
        pieces=top.whole("pieces", 1, 1000, "the number of pieces per serving"),
        note=top.text("note") or "",
        method=top.texts("method"),
        presentation=read_presentation(top, [item.label for item in meant], folder),
        source=source,
        tables=tables,
        composition=foods.files,
        finished_grams=top.number("finished_grams", 0.0, HEAVIEST, "the weight of the cooked batch in g", above=True),
        cooking_loss=top.number("cooking_loss", 0.0, 0.99, "the share of the batch's weight lost, 0.12 for 12 %"),
    )
    if "finished_grams" in table and "cooking_loss" in table:
        top.fault("cooking_loss", table["cooking_loss"], "expected finished_grams or cooking_loss, not both")
    check_groups(top, lines, parts)
    collected(faults)
    return recipe


def read_tables(top: Reader, foods: FoodTable, folder: str | Path) -> tuple[tuple[str, ...], FoodTable]:
    """The composition tables of the key `foods`, and all the foods that a recipe with them can use.

    Raises BadInput with every fault so far where a table cannot be read: without it no food can be looked up.
    """
    tables = []
    for name in top.texts("foods"):
        table = placed(name, folder)
        if not table_path(table).is_file():
            top.fault("foods", name, f"expected {' or '.join(BUNDLED)}, or the path of a composition table (CSV) from "
                                     f"the recipe's folder; there is no file {table}{suggestion(name, BUNDLED)}")
        tables.append(table)
    if any(fault.place == "foods" for fault in top.faults):
        collected(top.faults)
    try:
        return tuple(tables), foods.with_tables(tables)
    except BadInput as bad:
        for fault in bad.faults:
            top.fault("foods", None, str(fault))
        raise BadInput(top.faults) from bad


def _ingredients(top: Reader, foods: FoodTable) -> dict[str, Ingredient]:
    """The ingredients by their place in the file; in the place of one with a fault stands what the groups mean."""
    found: dict[str, Ingredient] = {}
    lines: dict[str, str] = {}
    written = top.table.get("ingredients")
    if isinstance(written, list | tuple) and len(written) > MOST_INGREDIENTS:
        raise BadInput([Fault(top.source, "ingredients", f"{len(written):,} of them",
                              f"expected at most {MOST_INGREDIENTS:,}")])
    for reader in top.each("ingredients"):
        ingredient = _ingredient(reader, foods) or _stand_in(reader, foods)
        key = ingredient.label.lower()
        if key in lines:
            reader.fault("label", ingredient.label,
                         f"expected labels to be unique; {lines[key]} has it (give one of them a label)")
        lines[key] = reader.place
        found[reader.place] = ingredient
    if not found and not top.faults:
        top.fault("ingredients", None, "expected at least one [[ingredients]]")
    return found


def _stand_in(reader: Reader, foods: FoodTable) -> Ingredient:
    """What takes the place of an ingredient with a fault, so that groups that name it are not blamed as well.

    It answers to its label, to the food as it is written and to the one that was probably meant.
    """
    written = {key: one_line(value) for key, value in reader.table.items() if isinstance(value, str)}
    name = written.get("food") or next(
        (text for key, text in written.items() if key not in INGREDIENT_KEYS and suggestion(key, ["food"])), "")
    meant = (foods.near(name, 1) if name and not foods.get(name) else []) or [name or reader.place]
    food = foods.get(name) or Food(meant[0], name or reader.place, "available", {})
    return Ingredient(written.get("label") or name or reader.place, food, 0.0, part=written.get("part"))


def _ingredient(reader: Reader, foods: FoodTable) -> Ingredient | None:
    reader.known_keys(INGREDIENT_KEYS)
    name = reader.text("food")
    reader.required("food", "expected a food of the composition table")
    food = foods.get(name) if name else None
    if name and food is None:
        reader.fault("food", name, foods.unknown(name))
    label = reader.text("label") or (food.name if food else name or reader.place)
    low = reader.spanned("min", "the least weight in g")
    high = reader.spanned("max", "the greatest weight in g")
    if ("min" in reader.table) != ("max" in reader.table):
        given, missing = ("min", "max") if "min" in reader.table else ("max", "min")
        reader.fault(missing, None, f"expected with {given}: both make {label} adjustable, neither fixes it")
    if low is not None and high is not None and low > high:
        reader.fault("min", low, f"expected at most the max, {high:g} g")
    counted, piece, named, assumed = _measure(reader, food)
    start = reader.spanned("grams", "a weight in g")
    if counted is not None:
        if "grams" in reader.table:
            reader.fault("measure", reader.table["measure"], "expected grams or a counted measure, not both")
        start = counted
    elif "grams" not in reader.table:
        reader.fault("grams", None, f"expected the weight of {label} in g (0 for a candidate)")
    part = reader.text("part")
    made, drippings = read_preparation(reader, food)
    step = reader.spanned("step", "a step in g")
    own_piece = reader.spanned("piece", "the weight of a piece in g")
    keep = reader.spanned("keep", "how dear a gram of change is")
    if own_piece is not None and step is not None:
        reader.fault("piece", own_piece, "expected step or piece, not both")
    if made is None or (low is None) != (high is None):
        return None
    return Ingredient(label, made.food, start or 0.0, low, high, part, made.yield_, step, own_piece or piece,
                      1.0 if keep is None else keep, made.prepared, made.note, named,
                      drippings=drippings, measure_note=assumed)


def _measure(reader: Reader, food: Food | None) -> tuple[float | None, float | None, str, str]:
    """"2 large" and "250 ml" give grams; "large" alone gives the weight of a whole piece.

    Beside these the measure as the food calls it, and what was assumed.
    """
    text, note = reader.text("measure"), ""
    counted = counted_measure(text or "")
    if text is None or food is None:  # that the food is not there is fault enough
        return (0.0 if counted else None), None, "", ""
    count, name = counted or (Fraction(1), text.lower())
    named = measure_named(food, name)
    grams = measured_grams(food, name, count) if counted or named else None
    if grams is None and counted and (usual := of_its_kind(food, singular(name), count, name)):
        grams, note = usual.grams, f"{text} is {usual.note}, as its table has no volume for it"
    if grams is None:
        reader.fault("measure", text, f"expected one of this food's measures: {', '.join(food.measures) or 'none'}"
                     + suggestion(name, food.measures))
        return (0.0 if counted else None), None, "", ""
    if counted is None:
        return None, float(grams), named, ""
    weight = reader.number_of("measure", float(grams), 0.0, HEAVIEST, "a weight in g")
    return weight or 0.0, None, named, note


def read_policy(reader: Reader | None, columns: Sequence[str]) -> Policy:
    """The policy of a table; the usual one where there is none."""
    if reader is None:
        return Policy()
    reader.known_keys(("ratio_formula", "left_out", "unknown_as_zero", "energy", "mct_energy"))
    formula = reader.one_of("ratio_formula", tuple(RATIOS)) or Policy().ratio_formula
    left_out = dict(Policy().left_out)
    inner = reader.inner("left_out")
    if inner is not None:
        inner.known_keys(tuple(BY_KEY))
        shares = {key: inner.number(key, 0.0, 1.0, "the share left out of net carbs") for key in BY_KEY}
        left_out |= {key: share for key, share in shares.items() if share is not None}
    unknown = []
    for name in reader.texts("unknown_as_zero"):
        column = column_named(name, columns)
        if column is None:
            reader.fault("unknown_as_zero", name, "expected nutrients of the composition table")
        else:
            unknown.append(column)
    return Policy(formula, left_out, tuple(unknown), reader.one_of("energy", ENERGIES) or ENERGIES[0],
                  reader.number("mct_energy", *MCT_ENERGIES, "kcal per g of medium-chain fat"))


def read_presentation(top: Reader, labels: Sequence[str], folder: str | Path) -> Presentation:
    """The keys of a recipe file that are about its card; paths start from its folder."""
    times = top.inner("times")
    if times:
        times.known_keys(TIMES)
    told = ((name, times.whole(name, 0, LONGEST_TIME, "minutes") if times else None) for name in TIMES)
    photo = top.text("photo")
    found = Presentation(
        author=top.text("author") or "",
        yield_text=top.text("yield_text") or "",
        times=tuple((name, minutes) for name, minutes in told if minutes is not None),
        photo=str(Path(folder).absolute() / photo) if photo else "",
        language=top.one_of("language", LANGUAGES) or LANGUAGES[0],
        percent_of=top.texts("percent_of"),
    )
    known = {label.casefold(): label for label in labels}
    for name in found.percent_of:
        if name.casefold() not in known:
            top.fault("percent_of", name, f"expected the label of an ingredient{suggestion(name, known)}")
    return replace(found, percent_of=tuple(known.get(name.casefold(), name) for name in found.percent_of))
