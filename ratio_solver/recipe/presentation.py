"""How a recipe is presented on its card: who made it, how long it takes, a photo, the language of the fixed words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ratio_solver.foods.table import suggestion

if TYPE_CHECKING:
    from ratio_solver.recipe.reader import Reader

PRESENTATION_KEYS = ("author", "times", "yield_text", "photo", "language", "percent_of")
TIMES = ("prep", "cook", "rest")
LANGUAGES = ("en", "de", "fr")
LONGEST_TIME = 100_000
"""Minutes: ten weeks."""


@dataclass(frozen=True)
class Presentation:
    """What a card shows beside what is weighed; nothing of it changes a figure.

    Attributes
    ----------
    author, yield_text : str
        Who made it; what it makes, in words ("one tart of 26 cm").
    times : tuple of (str, int)
        "prep", "cook" and "rest" and their minutes, those that are told.
    photo : str
        Path of the picture, absolute; empty without.
    language : {"en", "de", "fr"}
        Of the fixed words.
    percent_of : tuple of str
        Labels of the ingredients whose share a label's list states.
    """

    author: str = ""
    yield_text: str = ""
    times: tuple[tuple[str, int], ...] = ()
    photo: str = ""
    language: str = "en"
    percent_of: tuple[str, ...] = ()


def read_presentation(top: Reader, labels: Sequence[str], folder: str | Path) -> Presentation:
    """The keys of a recipe file that are about its card; paths start from its folder."""
    times = top.inner("times")
    if times:
        times.known_keys(TIMES)
    told = ((name, times.whole(name, 0, LONGEST_TIME, "minutes") if times else None) for name in TIMES)
    photo = top.text("photo")
    return Presentation(
        author=top.text("author") or "",
        yield_text=top.text("yield_text") or "",
        times=tuple((name, minutes) for name, minutes in told if minutes is not None),
        photo=str(Path(folder).absolute() / photo) if photo else "",
        language=top.one_of("language", LANGUAGES) or LANGUAGES[0],
        percent_of=_labels_of(top, "percent_of", labels),
    )


def _labels_of(top: Reader, key: str, labels: Sequence[str]) -> tuple[str, ...]:
    """Labels of ingredients that a key lists; one that is none is a fault."""
    known = {label.casefold(): label for label in labels}
    for name in (names := top.texts(key)):
        if name.casefold() not in known:
            top.fault(key, name, f"expected the label of an ingredient{suggestion(name, known)}")
    return tuple(known.get(name.casefold(), name) for name in names)
