"""What fat to add: the closed form, agreement with `solve`, the limits broken, the mix of two."""

from __future__ import annotations

import csv
import io
import json
import math
import random
import tomllib
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, FoodTable, add_fat, check, solve
from ratio_solver.cli import main
from ratio_solver.exact import exact
from ratio_solver.foods.food import Food
from ratio_solver.recipe.change import with_added
from ratio_solver.recipe.model import Ingredient, Recipe, Target
from ratio_solver.tools.add_fat.compute import BREAKS, CANNOT, KEEPS, UNJUDGED
from tests.oracle.second_opinion import per_100g, written
from tests.solving.dishes import FIXED, FOODS, GRATIN, dish

FATS = [food.name for food in FOODS.with_role("fat")]
TABLE = {
    row["food"]: row
    for row in csv.DictReader(
        (Path(__file__).parents[2] / "data" / "foods.csv").read_text(encoding="utf-8").splitlines()
    )
}


def totals(text: str) -> tuple[Fraction, Fraction]:
    """Fat, and protein + net carbohydrate, g of the batch as written: by the tests' own arithmetic."""
    fat = rest = Fraction(0)
    for entry in tomllib.loads(text)["ingredients"]:
        row, grams = TABLE[entry["food"]], written(entry["grams"]) / 100
        fat += per_100g(row, "fat") * grams
        rest += (per_100g(row, "protein") + per_100g(row, "net_carbs")) * grams
    return fat, rest


@pytest.mark.parametrize("text", [FIXED, GRATIN])
def test_grams_are_the_closed_form_for_every_fat_of_the_table(text: str) -> None:
    """(R (P + N) - F) / (f - R (p + n)), computed from the CSV by the tests' own arithmetic."""
    fat, rest = totals(text)
    ratio = written(2.0)
    found = add_fat(dish(text), FOODS)
    assert sorted(c.name for c in (*found.candidates, *found.not_offered)) == sorted(FATS) and len(FATS) == 40
    for candidate in (*found.candidates, *found.not_offered):
        row = TABLE[candidate.name]
        f, r = per_100g(row, "fat") / 100, (per_100g(row, "protein") + per_100g(row, "net_carbs")) / 100
        assert candidate.least is not None and candidate.weighed is not None
        assert candidate.least.grams == ((ratio * rest - fat) / (f - ratio * r),)
        assert candidate.least.facts.ratio == 2
        assert candidate.weighed.grams == (math.ceil(candidate.least.total),)


def with_last(recipe: Recipe, grams: Fraction) -> Recipe:
    """The recipe with so much of its last ingredient."""
    *others, last = recipe.ingredients
    return replace(recipe, ingredients=(*others, replace(last, start=float(grams))))


@pytest.mark.parametrize("name", FATS)
def test_solve_finds_the_same_grams_when_the_answer_is_put_into_the_file(name: str) -> None:
    """As a candidate the solver adds the same grams; fixed at the weight on the scale every limit holds."""
    recipe = dish(FIXED)
    (candidate,) = add_fat(recipe, FOODS, [name]).candidates
    assert candidate.least is not None and candidate.weighed is not None
    loose = replace(recipe, targets=tuple(t for t in recipe.targets if t.nutrient == "ratio"))
    free = with_added(loose, candidate.foods)
    free = replace(free, ingredients=(
        *free.ingredients[:-1], replace(free.ingredients[-1], minimum=0.0, maximum=1000.0)))
    answer, whole = solve(free, exact=True), solve(free)
    assert answer.outcome == whole.outcome == "solved"
    assert float(answer.weights[-1].grams) == pytest.approx(float(candidate.least.total), abs=1e-6)
    assert whole.weights[-1].grams == candidate.weighed.total
    fixed = check(with_last(with_added(recipe, candidate.foods), candidate.weighed.total))
    assert [s.limit.identity for s in fixed.broken] == [s.limit.identity for s in candidate.weighed.broken]
    assert fixed.facts == candidate.weighed.facts
    assert (candidate.outcome == KEEPS) == fixed.kept
    assert (solve(fixed.recipe).outcome == "solved") == fixed.kept
    one_less = check(with_last(with_added(loose, candidate.foods), candidate.weighed.total - 1))
    assert not one_less.kept


@pytest.mark.parametrize("formula", ["net", "total", "ketogenic-quotient"])
@pytest.mark.parametrize("guaranteed", [False, True])
def test_every_formula_is_reached_exactly(formula: str, guaranteed: bool) -> None:
    recipe = dish(FIXED, policy={"ratio_formula": formula}, targets={"ratio": 1.7})
    found = add_fat(recipe, FOODS, guaranteed=guaranteed)
    assert len(found.candidates) > 10
    for candidate in found.candidates:
        assert candidate.least is not None
        (state,) = (s for s in candidate.least.limits if s.limit.name == "ratio")
        assert state.binding and state.actual == exact(1.7)


def test_the_sample_is_ordered_and_told_apart() -> None:
    found = add_fat(dish(FIXED), FOODS)
    order = [(c.outcome != KEEPS, c.least.total) for c in found.candidates if c.least]
    assert order == sorted(order) and found.best is found.candidates[0] and found.mix is None
    broken = {c.name for c in found.candidates if c.outcome == BREAKS}
    assert broken == {"coconut oil", "palm kernel oil", "butter, light, salted"}
    assert [c.name for c in found.not_offered] == ["MCT oil"]


def food(name: str, fat: float, protein: float, carbs: float, **others: float) -> Food:
    return Food(name, f"own:{name}", "available", {"fat_g": fat, "protein_g": protein, "carbs_g": carbs} | others,
                role="fat", allergens=())


def own(meat: float = 200, **targets: Target) -> Recipe:
    base = food("meat", 5, 20, 0, salt_mg=0, iron_mg=0)
    return Recipe("Own", 2, (Ingredient("meat", base, meat),), (Target("ratio", 2.0), *targets.values()))


def test_a_fat_below_the_ratio_cannot_do_it() -> None:
    foods = FoodTable((food("nut butter", 50, 20, 8), food("at the ratio", 40, 20, 0), food("oil", 100, 0, 0)))
    found = add_fat(own(), foods)
    assert [(c.name, c.outcome) for c in found.candidates] == [
        ("oil", KEEPS), ("nut butter", CANNOT), ("at the ratio", CANNOT)]
    assert found.candidates[1].own_ratio == Fraction(50, 28) and found.candidates[0].own_ratio is None
    assert found.candidates[0].least is not None and found.candidates[0].least.total == 70


def test_nothing_is_added_where_the_ratio_is_reached() -> None:
    found = add_fat(dish(FIXED, targets={"ratio": 0.2}), FOODS, ["olive oil", "chicken breast, skinless, roasted"])
    assert found.reached
    assert all(c.least is not None and c.least.total == 0 and c.outcome == KEEPS for c in found.candidates)


def with_ratio(recipe: Recipe, ratio: float) -> Recipe:
    return recipe.with_targets(Target("ratio", ratio))


def test_a_dish_at_its_ratio_needs_no_fat_whatever_else_it_breaks() -> None:
    """10 g of fat to 40 g of protein is 0.25:1; 20 g of protein a serving stay more than 15 g, whatever fat goes in."""
    foods = FoodTable((food("oil", 100, 0, 0), food("meaty", 90, 5, 0)))
    recipe = with_ratio(own(protein=Target("protein_g", None, 15)), 0.2)
    found = add_fat(recipe, foods)
    assert found.reached and not found.solved and not found.mendable
    assert [state.limit.name for state in found.beyond] == ["protein"]
    text = " ".join(text_of(recipe, foods).split())
    assert "has its ratio as written, and breaks other limits" in text and "No fat is needed for the ratio" in text
    assert text.count("protein;") + text.count("protein No fat") == 1 and "0.00" not in text and "oil" not in text


def test_a_limit_that_no_fat_can_mend_is_told_once_and_not_on_every_row() -> None:
    """70 g of oil make 2:1; the meaty fat too, and its own protein is no other limit than the one broken already."""
    foods = FoodTable((food("oil", 100, 0, 0, salt_mg=0), food("salty", 100, 0, 0, salt_mg=900)))
    recipe = own(protein=Target("protein_g", None, 15), salt=Target("salt_mg", None, 100))
    found = add_fat(recipe, foods)
    assert [c.outcome for c in found.candidates] == [BREAKS, BREAKS] and not found.solved
    assert [state.limit.name for state in found.beyond] == ["protein"]
    assert [[s.limit.name for s in found.broken_by(c.weighed)] for c in found.candidates if c.weighed] == [[], ["salt"]]
    text = " ".join(text_of(recipe, foods).split())
    assert "whatever is added: protein Any one of these reaches it and breaks no other limit" in text
    assert "These reach it and break another limit" in text and text.count(" protein ") == 3  # line and two headings
    assert "No mix" not in text


def test_a_limit_that_fat_mends_is_not_called_beyond_help() -> None:
    """3 mg of iron in the batch: 9 mg per 100 g take 34 g (33.3 g), 12 mg per 100 g take 25 g, though 0.25:1 do."""
    foods = FoodTable((food("rich", 100, 0, 0, iron_mg=9), food("richer", 100, 0, 0, iron_mg=12),
                       food("poor", 100, 0, 0, iron_mg=0)))
    recipe = with_ratio(own(iron=Target("iron_mg", 1.5)), 0.2)
    found = add_fat(recipe, foods)
    assert found.beyond == () and found.mendable and found.solved
    assert [(c.name, c.weighed.total) for c in found.candidates if c.weighed] == [
        ("richer", 25), ("rich", 34), ("poor", 0)]
    text = " ".join(text_of(recipe, foods).split())
    assert "add 25 g richer" in text and "No fat is needed for the ratio" in text and "poor" not in text
    without = add_fat(recipe, FoodTable((food("poor", 100, 0, 0, iron_mg=0),)))
    assert [state.limit.name for state in without.beyond] == ["iron"] and not without.solved


def test_an_unknown_figure_leaves_a_candidate_unjudged_and_the_others_alone() -> None:
    foods = FoodTable((food("oil", 100, 0, 0, salt_mg=0), food("unlabelled", 100, 0, 0)))
    found = add_fat(own(salt=Target("salt_mg", None, 100)), foods)
    assert [c.outcome for c in found.candidates] == [KEEPS, UNJUDGED]
    assert "salt_mg" in found.candidates[1].reason


def test_the_mix_of_two_is_the_best_of_all_pairs_by_trying_every_whole_gram() -> None:
    """Seeded: one fat is too salty, another too poor in iron; every pair of whole grams is tried."""
    rng = random.Random(4)
    mixed = 0
    for _ in range(40):
        drawn = [rng.choice(((0, 0), (0, 0), (0, 1), (300, 9), (400, 9), (900, 9))) for _ in range(4)]
        foods = FoodTable(tuple(
            food(f"fat {k}", rng.randint(70, 100), rng.choice((0, 0, 1)), 0, salt_mg=salt, iron_mg=iron)
            for k, (salt, iron) in enumerate(drawn)))
        recipe = own(salt=Target("salt_mg", None, 100), iron=Target("iron_mg", 1.5))
        found = add_fat(recipe, foods)
        for candidate in found.candidates:
            needed = [g for g in range(400) if _keeps(candidate.foods, g, ratio_alone=True)]
            enough = [g for g in range(400) if _keeps(candidate.foods, g)] or needed
            assert candidate.weighed is not None and candidate.weighed.total == enough[0]
            assert (candidate.outcome == KEEPS) == bool(_keeps(candidate.foods, enough[0]))
            assert bool(candidate.reason) == (enough[0] != needed[0])
        if any(c.outcome == KEEPS for c in found.candidates):
            assert found.mix is None
            continue
        pairs = [(f, h) for i, f in enumerate(foods) for h in list(foods)[i + 1:]]
        best = min((total for pair in pairs for total in [_least_whole(pair)] if total), default=None)
        if best is None:
            assert found.mix is None or found.mix.outcome == BREAKS
            continue
        mixed += 1
        assert found.mix is not None and found.mix.weighed is not None and found.mix.least is not None
        assert found.mix.weighed.total == best
        assert _keeps(found.mix.foods, *(int(g) for g in found.mix.weighed.grams))
        assert found.mix.least.total <= best and not found.mix.least.broken
    assert mixed >= 8


GRID = np.meshgrid(np.arange(1, 420), np.arange(1, 420))


def _least_whole(foods: tuple[Food, ...]) -> int | None:
    totals = (GRID[0] + GRID[1])[_keeps(foods, *GRID)]
    return int(totals.min()) if len(totals) else None


def _keeps(foods: tuple[Food, ...], *grams: Any, ratio_alone: bool = False) -> Any:
    """By hand for `own`: 200 g of meat with 5 % fat and 20 % protein, two servings; in whole hundredths."""
    def total(column: str) -> Any:
        return sum(f.amounts[column] * g for f, g in zip(foods, grams, strict=True))

    reached = 1000 + total("fat_g") >= 2 * (4000 + total("protein_g"))
    return reached if ratio_alone else reached & (total("salt_mg") <= 20000) & (total("iron_mg") >= 300)


def test_shares_of_the_batch_count_what_is_added_and_bounds_do_not() -> None:
    share = {"of": ["butter, salted"], "to": "batch", "min": 0.0185}
    recipe = dish(GRATIN, targets={"ratio": 2.0}, proportions=[share])
    found = add_fat(recipe, FOODS, ["olive oil"])
    assert [s.limit.name for s in found.candidates[0].weighed.broken] == ["butter, salted in batch"]  # type: ignore[union-attr]
    off = dish(GRATIN.replace("min = 450\nmax = 900", "min = 450\nmax = 800"), targets={"ratio": 2.0}, proportions=[])
    beyond = add_fat(off, FOODS, ["olive oil"])
    assert [s.limit.name for s in beyond.beyond] == ["celeriac, raw max"] and beyond.solved


def test_faults() -> None:
    with pytest.raises(BadInput, match="least ratio"):
        add_fat(dish(FIXED, targets={"net_carbs": 9}), FOODS)
    with pytest.raises(BadInput, match=r"did you mean 'olive oil'(.|\n)*'oliv oik'|oliv oik") as bad:
        add_fat(dish(FIXED), FOODS, ["olive oi", "oliv oik"])
    assert len(bad.value.faults) == 2
    with pytest.raises(BadInput, match="--step"):
        add_fat(dish(FIXED), FOODS, step=0)


def test_command(tmp_path: Path) -> None:
    file = tmp_path / "soup.toml"
    file.write_text(FIXED, encoding="utf-8")
    text = CliRunner().invoke(main, ["add-fat", str(file)])
    assert text.exit_code == 0 and max(map(len, text.stdout.splitlines())) <= 80
    assert "add 127 g lard" in text.stdout and "saturated fat" in text.stdout and "Caution" in text.stdout
    data = json.loads(CliRunner().invoke(main, ["add-fat", str(file), "--format", "json"]).stdout)
    rows = list(csv.DictReader(io.StringIO(CliRunner().invoke(main, ["add-fat", str(file), "--format", "csv"]).stdout)))
    assert [c["foods"][0] for c in data["candidates"]] == [row["food"] for row in rows]
    assert data["candidates"][0]["weighed"]["total_g"] == float(rows[0]["weighed_g"]) == 127
    hard = CliRunner().invoke(main, ["add-fat", str(file), "--with", "coconut oil"])
    assert hard.exit_code == 3 and "no fat, and no two" in hard.stdout
    higher = CliRunner().invoke(main, ["add-fat", str(file), "--ratio", "2.5:1", "--with", "olive oil", "--step", "5"])
    assert "2.5:1" in higher.stdout and " 165 " in higher.stdout


def text_of(recipe: Recipe, foods: FoodTable, most: int = 12) -> str:
    text = add_fat(recipe, foods).report(most=most)
    assert max(len(line.rstrip()) for line in text.splitlines()) <= 80
    return text


def test_text_says_what_each_fat_does() -> None:
    salt, iron = Target("salt_mg", None, 100), Target("iron_mg", 1.5)
    salty, poor = food("salty", 100, 0, 0, salt_mg=300, iron_mg=9), food("poor", 100, 0, 0, salt_mg=0, iron_mg=0)
    others = (food("nut butter", 50, 20, 8, salt_mg=0, iron_mg=0), food("unlabelled", 100, 0, 0))
    mixed = text_of(own(salt=salt, iron=iron), FoodTable((salty, poor, *others)))
    assert "The mix of two" in mixed and "together" in mixed and "add " in mixed
    assert "Cannot reach it" in mixed and "1.78:1" in mixed and "Cannot be judged" in mixed
    none = text_of(own(salt=salt, iron=Target("iron_mg", 90)), FoodTable((salty, poor)))
    assert "No mix of two of them keeps every limit either" in none and "breaks" in none
    more = text_of(own(iron=iron), FoodTable((food("thin", 100, 0, 0, salt_mg=0, iron_mg=2),)))
    assert "more than the ratio needs, to keep iron" in " ".join(more.split()) and " 150 " in more
    done = text_of(own().with_targets(Target("ratio", 0.25)), FoodTable((poor,)))
    assert "Nothing needs to be added" in done
    off = dish(GRATIN.replace("min = 450\nmax = 900", "min = 450\nmax = 800"), targets={"ratio": 2.0}, proportions=[])
    assert "Broken as written, whatever is added: celeriac, raw max" in text_of(off, FOODS, 1)
    assert "and 39 more (--most)" in text_of(off, FOODS, 1)
