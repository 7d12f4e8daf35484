"""The best weights of a recipe against another solver's, which is told of it from its definition."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from ratio_solver import Proposal, load_foods, recipe_from, solve
from tests.oracle.recipes import write_table


def agreed_status(written: Mapping[str, Any], rows: Sequence[dict[str, str]], folder: Path, seed: int) -> str:
    """GLOP's status, "optimal" or "infeasible", where ours is the same and the objective too."""
    second_opinion = pytest.importorskip("tests.oracle.second_opinion")
    write_table(folder / "own.csv", rows)
    answer = solve(recipe_from(written, load_foods(folder / "own.csv", bundled=False)), exact=True)
    opinion = second_opinion.solve_closest(written, rows)
    assert isinstance(answer, Proposal) == (opinion.status == "optimal"), seed
    if isinstance(answer, Proposal):
        assert float(answer.objective.value) == pytest.approx(opinion.objective, rel=1e-6, abs=1e-6), seed
    return str(opinion.status)
