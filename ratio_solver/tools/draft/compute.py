"""A recipe file from what a cook wrote down, or from a saved page."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ratio_solver.errors import BadInput, Fault, collected, cut, one_line
from ratio_solver.foods.food import Food
from ratio_solver.foods.matching import SURE
from ratio_solver.foods.sizes import MOST_INGREDIENTS, MOST_SERVINGS
from ratio_solver.foods.table import FoodTable, load_foods, match
from ratio_solver.foods.words import names_food
from ratio_solver.recipe.lines import Item, items, weight_passed_over
from ratio_solver.recipe.model import BATCH
from ratio_solver.recipe.page import is_page, recipes_in
from ratio_solver.recipe.read import recipe_from
from ratio_solver.recipe.units import MEASURES
from ratio_solver.recipe.weighing import weigh
from ratio_solver.recipe.write import table_from
from ratio_solver.recipe.written_text import Written, part_within, written_in
from ratio_solver.tools.draft.meaning import NEXT, as_used, meaning_of
from ratio_solver.tools.draft.model import Draft, Drafted, DraftLine
from ratio_solver.tools.draft.text import draft_text

UNSAID_SERVINGS = 4
"""Servings where nobody says how many; told."""

MOST_BOUNDS = 100.0
"""Percent by which an ingredient may move at most: nothing weighs less than nothing."""

_AMERICAN = re.compile(
    r"\d\s*(?:cups?|c\.|sticks?)\b|\b(?:all[- ]purpose|confectioners|cilantro|scallions?|half[- ]and[- ]half|"
    r"heavy (?:whipping )?cream|kosher|arugula|eggplant|zucchini|broiler)\b",
    re.IGNORECASE,
)
_METRIC = re.compile(r"\d\s*(?:g|kg|ml|dl|cl|l|litres?|grams?)\b", re.IGNORECASE)


@dataclass(frozen=True)
class Question:
    """Words that may mean several foods.

    Attributes
    ----------
    line : str
        As the cook wrote it.
    candidates : tuple of Food
        The likeliest first.
    """

    line: str
    candidates: tuple[Food, ...]


Ask = Callable[[Question], "Food | None"]
"""Answers which of the candidates is meant; None where it is none of them."""


def draft(text: str, foods: FoodTable | None = None, *, title: str | None = None, servings: int | None = None,
          ratio: float | None = None, net_carbs: float | None = None, bounds: float | None = None,
          measures: str | None = None, recipe: int = 1, ask: Ask | None = None, tables: Sequence[str] = (),
          folder: str | Path = "", source: str = "draft") -> Draft:
    """A recipe file from a written recipe.

    Parameters
    ----------
    text : str
        One ingredient a line, with headings ("For the sauce:") for parts and steps after a line "Method"; or a web page
        or JSON that holds a schema.org Recipe as JSON-LD. Nothing is fetched, no script runs.
    foods : FoodTable, optional
        The table that comes with the package unless given.
    title, servings
        Instead of what the text says; servings are 4 where neither says it, and that is told.
    ratio, net_carbs : float, optional
        Targets: the least ratio, the most net carbs of a serving in g.
    bounds : float, optional
        Percent by which each ingredient may move to either side; they are fixed unless given. Fats may go from 0 to
        double, sugars, flours, grains and starchy foods from 0 to what they are, eggs in whole pieces; seasonings stay.
    measures : {"metric", "us", "uk"}, optional
        Whose cups, spoons and pints are meant; by the words of the text unless given.
    recipe : int
        Which of the recipes of a page, from 1; the others are named in the file.
    ask : callable, optional
        Asked where the food is a guess; else the best is taken and marked.
    tables : sequence of str
        Composition tables that the recipe is to name, "europe" or paths from where the command runs; `foods` has them.
    folder : path
        Where the file will lie: paths of tables start from there.
    source : str
        Where the text comes from, for faults.

    Returns
    -------
    Draft
        Each line with what was understood of it, the text of the recipe file, and what to look at.

    Raises
    ------
    BadInput
        Where a page holds no recipe or not so many, or an argument cannot be.

    Examples
    --------
    >>> from ratio_solver import draft
    >>> found = draft("Mash\\n\\n500 g potatoes\\n50 g butter")
    >>> [(food.words, food.food.name, food.grams) for line in found.lines for food in line.foods]
    [('potatoes', 'potato, with skin, raw', 500.0), ('butter', 'butter, unsalted', 50.0)]
    """
    _check_arguments(servings, bounds, measures)
    table = load_foods() if foods is None else foods
    written, passed_over = _written(text, table, source, recipe)
    taken = measures or measures_of([line.text for line in written.lines])
    if len(written.lines) > MOST_INGREDIENTS:
        raise BadInput([Fault(source, "", f"{len(written.lines):,} lines of ingredients",
                              f"expected at most {MOST_INGREDIENTS:,}")])
    lines = tuple(_labelled([_understood(line.text, line.part, table, taken, ask) for line in written.lines]))
    named = cut(one_line(title or written.title or "Untitled"))
    count = servings or written.servings
    targets = {key: value for key, value in (("ratio", ratio), ("net_carbs", net_carbs)) if value is not None}
    toml = draft_text(named, count or UNSAID_SERVINGS, count is not None, written.method, targets, lines, passed_over,
                      bounds, table, [table_from(name, folder) for name in tables])
    found = any(line.foods for line in lines)
    dish = recipe_from(tomllib.loads(toml), table, source, folder) if found else None
    unsaid = () if count else (f"servings: the recipe does not say how many; {UNSAID_SERVINGS} taken",)
    return Draft(lines, toml, dish, (*unsaid, *_look_at(lines)), taken)


def _check_arguments(servings: int | None, bounds: float | None, measures: str | None) -> None:
    faults = []
    if measures is not None and measures not in MEASURES:
        faults.append(Fault("measures", "", repr(measures), f"expected one of {', '.join(MEASURES)}"))
    if bounds is not None and not 0 <= bounds <= MOST_BOUNDS:
        faults.append(Fault("bounds", "", f"{bounds:g}", f"expected percent, 0 to {MOST_BOUNDS:g}"))
    if servings is not None and not 1 <= servings <= MOST_SERVINGS:
        faults.append(Fault("servings", "", str(servings), f"expected a whole number from 1 to {MOST_SERVINGS:,}"))
    collected(faults)


def _written(text: str, table: FoodTable, source: str, number: int) -> tuple[Written, tuple[str, ...]]:
    """What the text says, and the lines passed over; of the recipes of a page the one of this number."""
    if not is_page(text):
        written = written_in(text, lambda words: match(table, words, 1).grade in SURE)
        if not written.lines:
            raise BadInput([Fault(source, "", "", "holds no line that could be an ingredient; expected one a line, "
                                  "such as \"200 g flour\"")])
        _there(number, [written], source)
        return written, written.passed_over
    found = recipes_in(text, source)
    chosen = _there(number, found, source)
    names = tuple(f"another recipe of the page, --recipe {place}: {other.title or 'without a name'}"
                  for place, other in enumerate(found, 1) if other is not chosen)
    return chosen, (*chosen.passed_over, *names)


def _there(number: int, found: Sequence[Written], source: str) -> Written:
    """The recipe of a number, from 1."""
    if not 1 <= number <= len(found):
        told = "; ".join(f"{place} {cut(one_line(one.title or 'without a name'), 60)}"
                         for place, one in enumerate(found[:9], 1))
        raise BadInput([Fault("--recipe", "", str(number), f"expected 1 to {len(found)}, as {source} has {told}")])
    return found[number - 1]


def measures_of(lines: Iterable[str]) -> str:
    """Whose cups a recipe means, by its words: American ones where it has them and no grams or litres.

    >>> measures_of(["2 cups flour", "1 stick butter"]), measures_of(["200 g flour", "1 cup milk"])
    ('us', 'metric')
    """
    text = "\n".join(lines)
    american, metric = len(_AMERICAN.findall(text)), len(_METRIC.findall(text))
    return "us" if american > metric else "metric"


def _understood(text: str, part: str, table: FoodTable, measures: str, ask: Ask | None) -> DraftLine:
    """A written line with the foods in it, each weighed; what cannot be is told."""
    bare = part_within(text)[1]
    found: list[Drafted] = []
    unread: list[str] = []
    read = items(bare)
    passed = weight_passed_over(bare, read)
    for item in read:
        drafted = _drafted(item, text, table, measures, ask)
        if isinstance(drafted, str):
            unread.append(drafted)
            continue
        same = next((place for place, other in enumerate(found) if other.food == drafted.food), None)
        if same is None:
            found.append(drafted)
        else:
            found[same] = _added_up(found[same], drafted)
    if passed and found:
        doubt = "; ".join(filter(None, (found[0].doubt, f"the line also says {passed}")))
        found[0] = replace(found[0], doubt=doubt)
    if not found and not unread:
        unread.append("cannot be read: add it by hand")
    return DraftLine(text, part, tuple(found), tuple(unread))


def _drafted(item: Item, line: str, table: FoodTable, measures: str, ask: Ask | None) -> Drafted | str:
    """An item with its food and weight, or why it is not in the recipe."""
    meaning = meaning_of(item, table)
    words, meant = cut(meaning.words, 80), as_used(meaning.found, item, measures, table)
    food, grade = meant.food, str(meant.grade)
    others = meant.others[:NEXT]
    if ask is not None and grade not in (*SURE, "close") and food is not None:
        food = ask(Question(line, (food, *meant.others)))
        grade = "chosen"
    if food is None:
        return f"no food of the table fits {words or 'it'}: add it by hand"
    weighed = weigh(food, item.amount, line, measures)
    if weighed is None:
        amount = "no amount" if item.amount is None else f"nothing says what {item.amount.unit or 'one'} of it weighs"
        named = f"{food.name}:" if grade in (*SURE, "chosen") else f"is {food.name} meant?"
        return f"{named} {amount}: how many grams?"
    if not weighed.grams:
        return f"{food.name}: the amount is nothing"
    counted = item.amount.count if item.amount is not None and weighed.piece else None
    return Drafted(words, words, food, grade, others, weighed, counted, meaning.doubt, meant.lacks)


def _added_up(one: Drafted, other: Drafted) -> Drafted:
    """Two amounts of the same food in one line as one."""
    note = "; ".join(dict.fromkeys(note for note in (one.weighed.note, other.weighed.note) if note))
    grams = one.weighed.grams + other.weighed.grams
    return replace(one, weighed=replace(one.weighed, grams=grams, note=note, piece=None, measure=""), counted=None)


def _labelled(lines: Sequence[DraftLine]) -> Iterator[DraftLine]:
    """The lines with labels that no two ingredients share and that no part has."""
    taken = {BATCH, *(line.part.lower() for line in lines)}
    for line in lines:
        named = []
        for item in line.foods:
            label = _free(_short(item) or item.food.name, line.part, taken)
            taken.add(label.lower())
            named.append(replace(item, label=label))
        yield replace(line, foods=tuple(named))


def _short(item: Drafted) -> str:
    """What a line calls its food: the first part between commas that names one; of two foods the one taken."""
    parts = [part for part in item.words.split(",") if names_food(part)] or item.words.split(",")
    one = re.split(r"\s(?:and|&|und|et)\s", parts[0])[0] if item.grade == "guess" else parts[0]
    return cut(one_line(one), 40).strip()


def _free(label: str, part: str, taken: set[str]) -> str:
    """A label like this one that is not taken yet."""
    tries = [label, *([f"{label}, {part}"] if part else []), *(f"{label} {number}" for number in range(2, 2000))]
    return next(name for name in tries if name.lower() not in taken)


def _look_at(lines: Iterable[DraftLine]) -> Iterator[str]:
    """One text for each guess and each line, or piece of one, that is not in the recipe."""
    for line in lines:
        written = cut(one_line(line.text), 60)
        yield from (f"{written}: {why}" for why in line.unread)
        yield from (f"{written}: {item.check}" for item in line.foods if item.check)
