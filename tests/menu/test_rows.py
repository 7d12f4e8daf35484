"""The arrays of a menu against the formulation of each recipe by itself: row by row, bound by bound."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ratio_solver import MenuOptions, recipe_from, solve_frame
from ratio_solver.menu import solve as menu_solve
from ratio_solver.solving.formulation import formulate
from tests.kitchen import table
from tests.menu.drawing import framed, long_rows
from tests.oracle.recipes import random_recipe, random_table

COUNT = 60


@pytest.mark.parametrize("guaranteed", [None, "mean"])
def test_each_row_of_a_menu_is_that_of_the_recipe(guaranteed: str | None, tmp_path: Path,
                                                  monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = [row | {f"{column}_{end}": f"{share * float(row[column]):.3f}" for column in ("fat_g", "protein_g")
                    for end, share in (("low", 0.9), ("high", 1.1))} for row in random_table(31, 24)]
    foods, rng = table(tmp_path, *drawn), random.Random(31)
    written = {f"dish {k}": random_recipe(rng, drawn, kind=("plain", "mixed", "share")[k % 3]) for k in range(COUNT)}
    seen: list[tuple[Any, Any]] = []
    rows_of = menu_solve.rows_of

    def recorded(menu: Any, *more: Any) -> Any:
        seen.append((menu, rows_of(menu, *more)))
        return seen[-1][1]

    monkeypatch.setattr(menu_solve, "rows_of", recorded)
    solve_frame(framed([row for name, recipe in written.items() for row in long_rows(name, recipe)]), foods,
                MenuOptions(exact=True, guaranteed=guaranteed))
    compared = 0
    for menu, rows in seen:
        for number, name in enumerate(menu.names):
            recipe = recipe_from({key: written[name][key] for key in ("title", "servings", "ingredients", "targets")},
                                 foods)
            formulation = formulate(recipe, guaranteed=guaranteed)
            model, items = formulation.model, slice(int(menu.first[number]), int(menu.first[number + 1]))
            adjustable = np.array([item.adjustable for item in recipe.ingredients])
            start = menu.start[items]
            mine, limits = [], {limit.identity: limit for limit in formulation.limits}
            for line in np.flatnonzero(rows.owner == number):
                exactly = rows.limit(int(line))
                assert exactly == limits[exactly.identity], name
                value = rows.value[rows.row == line]
                rest = value[~adjustable] @ start[~adjustable]
                mine.append((rows.sign[line], *value[adjustable], rows.right[line] - rest))
            count, theirs = int(adjustable.sum()), []
            for limit, row in zip(formulation.limits, formulation.row_of, strict=True):
                if row is not None:
                    sign, one = 1 if limit.sense == ">=" else -1, model.rows[row]
                    theirs.append((sign, *(sign * float(a) for a in (*one.coefficients[:count], one.bound))))
            assert len(mine) == len(theirs), name
            np.testing.assert_allclose(sorted(mine), sorted(theirs), rtol=1e-9, atol=1e-9, err_msg=name)
            bounds = [(float(v.lower), float(v.upper)) for v in model.variables[:count]]
            assert bounds == list(zip(menu.low[items][adjustable], menu.high[items][adjustable], strict=True)), name
            cost = [float(c) for c in model.costs[0][count:2 * count]]
            assert cost == list(menu.keep[items][adjustable]), name
            compared += len(mine)
    assert compared > 2 * COUNT
