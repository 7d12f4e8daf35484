"""A recipe as someone wrote it down: title, servings, ingredient lines under their headings, steps."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ratio_solver.errors import one_line
from ratio_solver.recipe.amounts import amount_at, plain
from ratio_solver.recipe.line_kinds import (
    INGREDIENTS,
    heading_of,
    line_kind_of,
    method_step_of,
    part_within,
    servings_in,
)


@dataclass(frozen=True)
class Line:
    """One ingredient line as written, and the part of the dish under whose heading it stands."""

    text: str
    part: str = ""


@dataclass(frozen=True)
class Written:
    """What a written recipe says, before anything is understood of it.

    Attributes
    ----------
    title : str
        May be empty.
    servings : int or None
        None where it does not say.
    lines : tuple of Line
        One ingredient each, in order.
    method : tuple of str
        Its steps.
    passed_over : tuple of str
        Lines that are about something else: times, notes, what the page says around the recipe.
    """

    title: str = ""
    servings: int | None = None
    lines: tuple[Line, ...] = ()
    method: tuple[str, ...] = ()
    passed_over: tuple[str, ...] = ()


def written_in(text: str, is_food: Callable[[str], bool] = lambda words: False) -> Written:
    """The recipe that a plain text holds: one ingredient a line, headings, steps after a line "Method".

    The first line is the title where it is no ingredient and no heading of one; where no line after it says so,
    `is_food` is asked whether its words are a food.
    """
    lines = [one_line(line) for line in text.splitlines()]
    together = sum(bool(line) for line in lines) > 2 * sum(not line for line in lines)  # else every line stands alone
    title, servings, part = "", None, ""
    found: list[Line] = []
    method: list[str] = []
    over: list[str] = []
    cooking = False
    for place, line in enumerate(lines):
        if not line:
            continue
        if together and place and not lines[place - 1] and found and found[-1].part == part:
            part = ""
        if cooking:
            cooking = not INGREDIENTS.fullmatch(plain(line))
            method += [method_step_of(line)] if cooking else []
            continue
        kind = line_kind_of(line)
        if not title and not found and not any(lines[:place]) and _may_be_title(line, kind, lines[place + 1:], is_food):
            title = re.sub(r"^[#*\s]+|[#*:\s]+$", "", line)
        elif kind == "method":
            cooking = True
        elif kind == "servings":
            servings = servings_in(line) or servings
        elif kind == "heading" or (kind == "item" and _begins_part(lines, place, is_food)):
            part = heading_of(line)
        elif kind == "ingredients":
            part = ""
        elif kind == "item":
            within, _ = part_within(line)
            found.append(Line(line, within or part))
        else:
            over.append(line)
    return Written(title, servings, tuple(found), tuple(step for step in method if step), tuple(over))


def _begins_part(lines: Sequence[str], place: int, is_food: Callable[[str], bool]) -> bool:
    """Whether a line between a blank one and an amount is the name of a part: it has no amount, and is no food."""
    line, follows = lines[place], next(iter(lines[place + 1:]), "")
    return (bool(place) and not lines[place - 1] and bool(amount_at(plain(follows))) and not re.search(r"[\d,]", line)
            and len(line.split()) < 6 and not is_food(plain(line)))


def _may_be_title(line: str, kind: str, rest: Sequence[str], is_food: Callable[[str], bool]) -> bool:
    """Whether a first line is the dish's name: no amount in it, nor a heading, and something follows."""
    bare = plain(line)
    if kind in ("servings", "method", "ingredients") or not any(rest) or len(bare) > 100:
        return False
    if line.startswith("#"):
        return True
    follows = next((later for later in rest if later), "")
    parted = not rest[0] or line_kind_of(follows) in ("servings", "ingredients", "heading", "other")
    if amount_at(bare) or re.search(r"\bto taste$|:$|^for the\b", bare, re.I) or re.search(r"\d+ ?(?:g|ml|oz)\b", bare):
        return False
    return parted or not is_food(bare)
