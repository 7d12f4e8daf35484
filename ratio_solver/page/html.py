"""The HTML of the pages: templates, each value in them escaped, and seen for what it is."""

from __future__ import annotations

import re
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from ratio_solver.errors import written_out
from ratio_solver.output.blocks import Grid, Section, Text
from ratio_solver.page.answer import LimitLine, WeightLine
from ratio_solver.page.folder import name_for
from ratio_solver.page.sheet import AdjustableBound, IngredientLine, typed

VIEWS = {"dish": "Dish", "weigh": "Weigh in", "portions": "Portions", "compare": "Compare", "text": "Text"}
"""What can be seen of a dish."""

CANDIDATE = 50
"""g that a food which is added may have at most, until a hand moves it."""

LINES_KEPT = 500
"""Lines of ingredients, and of limits, that are kept as they were shown under a moving hand."""

PART = Markup("<!-- part -->")
"""Where the parts of what a hand moves are taken apart: no value can hold it, as each is escaped."""

_OPTION = re.compile(r" \(--[^)]*\)|, (?:or )?--[a-z-]+ [\w-]+|^--")
"""An option of a command line where words name it; the source of a fault may be one."""


def html(template: str, **shown: Any) -> str:
    """A template with what is shown in it."""
    return _templates().get_template(template).render(**shown)


def compile_ahead() -> None:
    """Compile every template, so that what is asked for first does not wait for that."""
    for one in files("ratio_solver.page").joinpath("templates").iterdir():
        _templates().get_template(one.name)


@cache
def _templates() -> Environment:
    folder = files("ratio_solver.page").joinpath("templates")
    found = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
                        finalize=written_out_text,
                        loader=FunctionLoader(lambda name: folder.joinpath(name).read_text("utf-8")))
    found.globals.update(Text=Text, Grid=Grid, Section=Section, is_a=isinstance, quoted=quote, typed=typed, views=VIEWS,
                         line_parts=line_parts, limit_line=limit_line, mark=PART, candidate=CANDIDATE,
                         name_for=name_for)
    found.filters["here"] = here
    return found


@lru_cache(LINES_KEPT)
def line_parts(item: IngredientLine, figure: WeightLine | None, weigh: bool, moved: bool) -> Markup:
    """What is shown of an ingredient under a moving hand: most is as it was a move before, and is not made anew."""
    part = _parts()
    shown = [part.grams(item, figure)]
    if weigh:
        return PART.join([*shown, part.bowl_change(item, figure)])
    shown.append(part.change(item, figure))
    if item.high:
        shown += [part.track(item, figure), part.could(item, figure)]
        if moved:
            shown.append(part.controls(None, item))
    return PART.join([*shown, part.fix(None, item, figure)])


@lru_cache(LINES_KEPT)
def limit_line(one: LimitLine, bound: AdjustableBound | None, saves_in: str) -> Markup:
    """A limit in a window that the script has, with what a hand moves of it there: one that binds is not made anew."""
    shown: Markup = _parts().limit(None, one, bound, saves_in)
    return shown


@cache
def _parts() -> Any:
    """Macros, by their names; they are called without a dish, as the script has its version."""
    return _templates().get_template("parts.html.j2").module


def written_out_text(value: object) -> object:
    """Whatever a name holds is seen for what it is; markup stays markup."""
    return written_out(value) if type(value) is str else value


def here(words: str) -> str:
    """What a command says, without the options of its line, which cannot be given on the page.

    >>> here("Weights between the steps do (--exact), and a finer step may.")
    'Weights between the steps do, and a finer step may.'
    >>> here("--portion-grams: 0: expected a weight above 0 g")
    'portion-grams: 0: expected a weight above 0 g'
    >>> here("another recipe of the page, --recipe 2: Soup")
    'another recipe of the page: Soup'
    """
    return _OPTION.sub("", words)
