"""Weights written out keep every limit when they are read again, without tolerance."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import check, load_foods, read_recipe, recipe_from, solve
from ratio_solver.cli import main
from ratio_solver.recipe.change import fixed
from ratio_solver.solving.written import kept_weights
from tests.kitchen import dish, drawn, food, table

EXAMPLES = Path(__file__).parents[2] / "examples"
OWN = EXAMPLES / "own-foods.csv"


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_an_example_written_out_keeps_its_limits(path: Path, tmp_path: Path) -> None:
    out = tmp_path / "written.toml"
    result = CliRunner().invoke(main, ["solve", str(path), "--foods", str(OWN), "--exact", "--write", str(out)])
    if result.exit_code == 0:
        assert check(read_recipe(out, load_foods(OWN))).broken == ()
    else:
        assert result.exit_code == 3 and not out.exists()


def test_random_recipes_are_kept_and_hardly_moved(tmp_path: Path) -> None:
    repaired = 0
    for seed in range(40):
        folder = tmp_path / str(seed)
        folder.mkdir()
        recipe = drawn(seed, folder)[2]
        answer = solve(recipe, exact=True)
        if answer.outcome != "solved":
            continue
        weights = kept_weights(answer)
        assert check(fixed(recipe, weights)).broken == (), seed
        before = [weight.grams for weight in answer.weights]
        assert all(abs(a - b) <= 1e-5 for a, b in zip(weights, before, strict=True)), seed
        repaired += bool(check(fixed(recipe, before)).broken)
    assert repaired


def test_of_two_like_oils_the_second_does_not_move(tmp_path: Path) -> None:
    foods = table(tmp_path, food("veg", 0.3, 1.5, 9.2, 1.8), food("oil", 99.7), food("lard", 99.7))
    fats = [{"food": name, "grams": 10, "min": 0, "max": 60} for name in ("oil", "lard")]
    written = dish([{"food": "veg", "grams": 137}, *fats], targets={"ratio": 2.3})
    answer = solve(recipe_from(written, foods), exact=True)
    assert kept_weights(answer)[2] == 10
