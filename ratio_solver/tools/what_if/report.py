"""What-if scenarios beside the answer: as text for a terminal of 80 columns, as plain data, as rows of a CSV."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ratio_solver.output.blocks import QUIET, Block, Text, headline
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.side_by_side import beside, column_rows, joint_notes, not_kept, state
from ratio_solver.tools.solve.report import PREFERRED

if TYPE_CHECKING:
    from ratio_solver.tools.what_if.compute import WhatIf

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
    reckoned = found.base.recipe.reckoned
    told = [Text(f"{name}: {side.recipe.reckoned}.", QUIET) for name, side in others
            if side.recipe.reckoned != reckoned]
    return (*parts, *not_kept(found.columns), joint_notes([side for _, side in found.columns]), *told)


def data(found: WhatIf) -> Data:
    """The base answer in the keys of `solve`, and the scenarios under "what_if"."""
    return found.base.to_dict() | {
        "what_if": [{"scenario": one.text, **one.answer.to_dict()} for one in found.scenarios],
    }


def rows(found: WhatIf) -> Rows:
    """A figure a row, a column for each answer."""
    return column_rows(found.columns)
