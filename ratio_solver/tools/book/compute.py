"""A book: a card of every dish, a page that leads to them, the whole to print, and the record of what it claims.

What cannot be read or solved is told; all else is made. The folder appears whole or not at all.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from ratio_solver.dish.cautions import strongest
from ratio_solver.dish.check import DishAtWeights, check
from ratio_solver.errors import BadInput, Fault, NotProven, cut, unforeseen
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS, PROTEIN, spoken
from ratio_solver.foods.table import FoodTable
from ratio_solver.output.dish_text import fact
from ratio_solver.output.folder import FolderKind, whole_folder, writing
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.read import read_recipe
from ratio_solver.solving.solve import solve
from ratio_solver.tools.card.claims import stated_ratio
from ratio_solver.tools.card.compute import page_of, templates
from ratio_solver.tools.card.content import Shown, card_content, sources
from ratio_solver.tools.card.words import words_in
from ratio_solver.tools.recheck.record import record_text

INDEX, PRINTED, RECORD = "index.html", "book.html", "book.json"
LISTED = (NET_CARBS, ENERGY, PROTEIN)
"""Figures of the page that leads to the cards, beside the ratio."""

BOOK = FolderKind(RECORD, lambda name: name == RECORD or name.endswith(".html"))

Entry = tuple[str, Callable[[], Recipe]]
"""What a dish is called where it is told of, and how its recipe is read."""


@dataclass(frozen=True)
class BookOptions:
    """How the dishes of a book are solved and shown.

    Attributes
    ----------
    title : str
    label : {"none", "us", "eu"}
    measures, as_written, exact : bool
    prefer : str
    guaranteed : {"mean", "food"}, optional
    language : {"en", "de", "fr"}
        Of the page that leads to the cards; each card is in its recipe's.
    time_limit : float, optional
        Seconds for each dish, 5 unless said.
    """

    title: str = "Recipes"
    label: str = "none"
    measures: bool = False
    as_written: bool = False
    exact: bool = False
    prefer: str = "closest"
    guaranteed: Guaranteed = None
    language: str = "en"
    time_limit: float | None = None


AS_USUAL = BookOptions()


@dataclass(frozen=True)
class MadeDish:
    """A dish of a book: its card's file and what the template of that is given."""

    name: str
    dish: DishAtWeights
    shown: Shown


@dataclass(frozen=True)
class Book:
    """What became of the dishes of a book.

    Attributes
    ----------
    made : tuple of MadeDish
    impossible, undecided : tuple of str
        Dishes without weights that keep their limits, and those of which none were found in the time.
    faults : tuple of Fault
        Of recipes that cannot be read or solved.
    unreadable : int
        How many these are.
    """

    made: tuple[MadeDish, ...] = ()
    impossible: tuple[str, ...] = ()
    undecided: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()
    unreadable: int = 0

    @property
    def counts(self) -> dict[str, int]:
        """Number of dishes "made", "impossible" and "unreadable", and "undecided" where there are some."""
        return {"made": len(self.made), "impossible": len(self.impossible), "unreadable": self.unreadable} | (
            {"undecided": len(self.undecided)} if self.undecided else {})

    @property
    def without_weights(self) -> tuple[str, ...]:
        """What is told of the dishes without weights, a line each."""
        return (*(f"{name}: impossible" for name in self.impossible),
                *(f"{name}: undecided, no weights were found in the time" for name in self.undecided))


def book(recipes: Iterable[str | Path], folder: str | Path, foods: FoodTable, options: BookOptions = AS_USUAL) -> Book:
    """Make a book of recipe files.

    Parameters
    ----------
    recipes : iterable of path
        Recipe files, and folders of them (*.toml).
    folder : path
        New, or that of an earlier book, which is replaced.
    foods : FoodTable
    options : BookOptions

    Returns
    -------
    Book

    Raises
    ------
    BadInput
        Where there is no recipe, none can be made, or the folder cannot be written. Nothing is written then.

    Examples
    --------
    >>> import tempfile
    >>> from ratio_solver import book, load_foods
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     made = book(["examples/celeriac-gratin.toml"], f"{folder}/book", load_foods())
    ...     made.counts, sorted(path.name for path in Path(folder, "book").iterdir())
    ({'made': 1, 'impossible': 0, 'unreadable': 0}, ['book.html', 'book.json', 'celeriac-gratin.html', 'index.html'])
    """
    files = recipe_files(recipes)
    entries = [(str(path), partial(read_recipe, path, foods)) for path in files]
    return make_book(entries, folder, options, files)


def recipe_files(recipes: Iterable[str | Path]) -> list[Path]:
    """The recipe files named, and those of the folders named, by name.

    Raises
    ------
    BadInput
        Where there are none.
    """
    found: list[Path] = []
    for path in map(Path, recipes):
        inside = sorted(path.glob("*.toml")) if path.is_dir() else [path]
        if not inside:
            raise BadInput([Fault(str(path), "", "", "expected recipe files (*.toml)")])
        found += inside
    return list(dict.fromkeys(found))


def make_book(entries: Sequence[Entry], folder: str | Path, options: BookOptions = AS_USUAL,
              inputs: Iterable[Path] = ()) -> Book:
    """The same of dishes whose recipes are read by functions; none of the inputs may lie in the folder."""
    target = Path(folder).resolve()
    with whole_folder(target, inputs, BOOK) as place:
        found = _solved(entries, options)
        if not found.made:
            raise BadInput([*found.faults,
                            *(Fault(name, "", "", "no weights satisfy the limits") for name in found.impossible),
                            *(Fault(name, "", "", "no weights were found in the time") for name in found.undecided)] or
                           [Fault(str(folder), "", "", "expected a recipe")])
        with writing(target):
            for name, text in _pages(found, options, target):
                (place / name).write_text(text, encoding="utf-8", newline="\n")
    return found


def _solved(entries: Sequence[Entry], options: BookOptions) -> Book:
    """Every dish that can be made, under a file name of its own, and what is wrong with the others."""
    made, faults, unreadable = list[MadeDish](), list[Fault](), 0
    without: dict[str, list[str]] = {"impossible": [], "undecided": []}
    taken = {INDEX, PRINTED}
    for told, read in entries:
        try:
            recipe = read()
            dish: Any = check(recipe, guaranteed=options.guaranteed) if options.as_written else solve(
                recipe, options.prefer, guaranteed=options.guaranteed, exact=options.exact, ranges=False,
                time_limit=options.time_limit)
            if not isinstance(dish, DishAtWeights):
                without[dish.outcome].append(f"{told}: {cut(recipe.title)}")
                continue
            content = card_content(dish, options.label, options.measures)
            shown = page_of(dish, content)  # a photo that cannot be read is a fault of this recipe
        except Exception as error:  # the last resort: whatever one recipe meets, the others are made
            faults.extend(error.faults if isinstance(error, BadInput) else [
                Fault(told, "", "", str(error) if isinstance(error, NotProven) else unforeseen(error))])
            unreadable += 1
        else:
            name = file_name(Path(recipe.source).stem if recipe.source.endswith(".toml") else recipe.title, taken)
            made.append(MadeDish(name, dish, shown))
    return Book(tuple(made), tuple(without["impossible"]), tuple(without["undecided"]), tuple(faults), unreadable)


def file_name(title: str, taken: set[str]) -> str:
    """A name for the file of a card that no other has.

    >>> file_name("Crème brûlée / 2", set()), file_name("index", {"index.html"}), file_name("עוגה", set())
    ('creme-brulee-2.html', 'index-2.html', 'dish.html')
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    stem = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60] or "dish"
    name, number = f"{stem}.html", 2
    while name in taken:
        name, number = f"{stem}-{number}.html", number + 1
    taken.add(name)
    return name


def _pages(found: Book, options: BookOptions, target: Path) -> Iterable[tuple[str, str]]:
    """Name and text of every file of a book."""
    page, book_page = (templates().get_template(name) for name in ("card.html.j2", "book.html.j2"))
    for one in found.made:
        yield one.name, page.render(one.shown)
    whole = _shown(found, options)
    yield INDEX, book_page.render(whole | {"printed": False})
    yield PRINTED, book_page.render(whole | {"printed": True})
    yield RECORD, record_text([(one.dish, one.name) for one in found.made], options.label, target)


def _shown(found: Book, options: BookOptions) -> dict[str, Any]:
    """What the page that leads to the cards shows, and the book to print."""
    dishes = [one.dish for one in found.made]
    return {
        "title": options.title, "w": words_in(options.language),
        "columns": ["ratio", *map(spoken, LISTED), "allergens"],
        "rows": [{"file": one.name, "at": _place_in_book(number), "title": one.dish.recipe.title,
                  "cells": [stated_ratio(one.dish) + one.dish.recipe.policy.formula,
                            *(fact(one.dish.facts, column, one.dish.limits) if column in one.dish.facts.amounts else ""
                              for column in LISTED)],
                  "allergens": one.dish.allergens, "unknown": one.dish.allergens_unknown}
                 for number, one in enumerate(found.made, 1)],
        "dishes": [{**one.shown, "at": _place_in_book(number)} for number, one in enumerate(found.made, 1)],
        "not_made": [*found.without_weights, *map(str, found.faults)],
        "cautions": strongest(dish.cautions for dish in dishes),
        "sources": sources(dishes),
    }


def _place_in_book(number: int) -> dict[str, str]:
    """Where a dish stands in the book: what begins its ids, and its headings, a level lower than on its own page."""
    return {"id": f"dish{number}-", "h1": "h2", "h2": "h3"}


def closing_line(counts: dict[str, int]) -> str:
    """What became of the dishes, in one line.

    >>> closing_line({"made": 9, "impossible": 1, "unreadable": 0})
    '10 recipes: 9 made, 1 impossible, 0 unreadable'
    """
    total = sum(counts.values())
    return f"{total:,} recipe{'' if total == 1 else 's'}: " + ", ".join(f"{n:,} {name}" for name, n in counts.items())
