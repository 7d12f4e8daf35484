"""A dish before and after a swap: as text for a terminal of 80 columns, as plain data, as rows of a CSV."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ratio_solver.dish.notices import not_known
from ratio_solver.output.blocks import Part, Text, headline
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import plain
from ratio_solver.output.side_by_side import beside, column_rows, joint_notes, not_kept, state
from ratio_solver.solving.result import Impossible

if TYPE_CHECKING:
    from ratio_solver.tools.swap.compute import Swap


def text(found: Swap) -> Part:
    """Before and after side by side."""
    words = ", ".join(f"{one.new.food.name} for {one.old.label}" for one in found.swaps)
    carried = f"; start and bounds carried over by {found.by}" if found.by != "weight" else ""
    remarks = [Text(""), *(Text(f"Note: {note}.", "yellow") for note in found.notes)] if found.notes else []
    return (
        headline(found.before.recipe.title, *state(found.after)), Text(f"With {words}{carried}"), Text(""),
        beside(found.columns), *not_kept(found.columns), *remarks, *_allergen_change(found),
        joint_notes([found.after, found.before], found.after),
    )


def _allergen_change(found: Swap) -> Iterator[Part]:
    if isinstance(found.before, Impossible) or isinstance(found.after, Impossible):
        return
    (old, not_before), (new, not_after) = ((set(side.allergens), set(side.allergens_unknown))
                                           for side in (found.before, found.after))
    words = [f"{word}: {', '.join(sorted(some))}" for word, some in
             (("new", new - old), ("no longer", old - new)) if some]
    words += [not_known(sorted(not_after - not_before))] if not_after - not_before else []
    if words:
        yield from (Text(""), Text(f"Allergens, {'; '.join(words)}", "yellow"))


def data(found: Swap) -> Data:
    """The outcome of `swap`."""
    return {
        "swaps": [
            {"old": one.old.label, "new": one.new.label, "food": one.new.food.name, "id": one.new.food.id,
             "factor": plain(one.factor), "start": one.new.start, "min": one.new.minimum, "max": one.new.maximum}
            for one in found.swaps
        ],
        "by": found.by,
        "before": found.before.to_dict(),
        "after": found.after.to_dict(),
        "notes": list(found.notes),
    }


def rows(found: Swap) -> Rows:
    """A figure a row, before and after."""
    return column_rows(found.columns)
