"""The scale's error: exact ends of every quotient, against every corner of the box and against sampling."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, Recipe
from ratio_solver.cli import main
from ratio_solver.dish.nutrition import facts_of
from ratio_solver.exact import Vector
from ratio_solver.recipe.model import Ingredient, Target
from ratio_solver.tools.scale_error.compute import Interval, Scale, quotient_interval, scale_error, scale_named
from tests.kitchen import drawn, food, table


def brute(a: Vector, b: Vector, c: Fraction, low: Vector, high: Vector) -> Interval | None:
    """Every corner of the box; None where a corner has no quotient."""
    values = []
    for corner in itertools.product(*zip(low, high, strict=True)):
        below = sum((x * w for x, w in zip(b, corner, strict=True)), c)
        if not below:
            return None
        values.append(sum((x * w for x, w in zip(a, corner, strict=True)), Fraction(0)) / below)
    return Interval(min(values), max(values))


def numbers(rng: random.Random, count: int, zero: float = 0.2) -> Vector:
    return tuple(Fraction(0) if rng.random() < zero else Fraction(rng.randint(1, 999), 100) for _ in range(count))


@pytest.mark.parametrize("seed", range(200))
def test_ends_are_those_of_every_corner(seed: int) -> None:
    """A quotient that is linear above and below takes its quotient_interval at corners of a box."""
    rng = random.Random(seed)
    count = rng.randint(1, 7)
    a, b = numbers(rng, count), numbers(rng, count)
    c = Fraction(rng.choice((0, 0, 3)))
    weights, errors = numbers(rng, count, 0.1), numbers(rng, count, 0.3)
    low = tuple(max(Fraction(0), w - e) for w, e in zip(weights, errors, strict=True))
    high = tuple(w + e for w, e in zip(weights, errors, strict=True))
    expected = brute(a, b, c, low, high)
    if expected is not None:
        assert quotient_interval(a, b, c, low, high) == expected


def test_a_denominator_that_can_vanish_has_no_greatest_quotient() -> None:
    one, zero, two = Fraction(1), Fraction(0), Fraction(2)
    assert quotient_interval((one, one), (zero, one), zero, (one, zero), (two, two)).high is None
    assert quotient_interval((one,), (zero,), zero, (one,), (two,)) == Interval(None, None)
    assert quotient_interval((one, zero), (zero, one), zero, (one, one), (two, two)) == Interval(Fraction(1, 2), two)


@pytest.mark.parametrize("seed", range(40))
def test_no_weighing_within_the_error_leaves_the_interval(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    _, _, recipe = drawn(seed, tmp_path)
    weights = tuple(Fraction(rng.randint(0, 4000), 10) for _ in recipe.ingredients)
    found = scale_error(recipe, weights, scale_named("2"))
    for _ in range(50):
        off = tuple(max(Fraction(0), w + rng.choice((-1, 1, 0)) * e * Fraction(rng.randint(0, 8), 8))
                    for w, e in zip(weights, found.errors, strict=True))
        facts = facts_of(recipe, off)
        net = facts.amounts["net_carbs_g"]
        assert found.net_carbs.low is not None and found.net_carbs.high is not None
        assert found.net_carbs.low <= net <= found.net_carbs.high
        if facts.ratio is not None:
            assert found.ratio.low is None or found.ratio.low <= facts.ratio
            assert found.ratio.high is None or facts.ratio <= found.ratio.high
        for item in found.targets:
            assert not item.kept or item.limit.margin(off) >= 0


def fat_and_egg(tmp_path: Path) -> Recipe:
    foods = table(tmp_path, food("fat", fat=100), food("white", protein=10))
    items = [Ingredient(name, item, 0.0) for name in ("fat", "white") if (item := foods.get(name))]
    return Recipe("t", 2, tuple(items))


def test_a_gram_on_each_weight_by_hand(tmp_path: Path) -> None:
    """200 g of fat and 1,000 g of a food with 10 % protein: 199/100.1 to 201/99.9."""
    found = scale_error(fat_and_egg(tmp_path), (Fraction(200), Fraction(1000)), scale_named("1 g"))
    assert found.ratio == Interval(Fraction(1990, 1001), Fraction(2010, 999))


@pytest.mark.parametrize("bound", [99, 100, 101])
def test_a_target_is_kept_where_it_is_at_both_ends_of_the_error(bound: int, tmp_path: Path) -> None:
    """100 g of fat a serving, 200 weighed to 1 g: 99.5 to 100.5 g, of which one end is beyond a bound of 100."""
    kept = {}
    for end in ("minimum", "maximum"):
        recipe = replace(fat_and_egg(tmp_path), targets=(Target("fat_g", **{end: float(bound)}),))
        [target] = scale_error(recipe, (Fraction(200), Fraction(0)), scale_named("1 g")).targets
        assert target.interval == Interval(Fraction(199, 2), Fraction(201, 2))
        kept[end] = target.kept
    assert kept == {"minimum": bound <= 99, "maximum": bound >= 101}


def test_an_ingredient_that_is_not_used_is_not_weighed(tmp_path: Path) -> None:
    found = scale_error(fat_and_egg(tmp_path), (Fraction(0), Fraction(1000)), scale_named("1"))
    assert found.errors == (0, 1)
    assert found.ratio == Interval(Fraction(0), Fraction(0))


@pytest.mark.parametrize(("grams", "new"), [(1, "0.5"), (500, "0.5"), (501, "1"), (2000, "1"), (2001, "1.5"),
                                            (10_000, "1.5"), (12_000, "1.5")])
def test_class_iii_figures(grams: int, new: str, tmp_path: Path) -> None:
    """OIML R 76, class III, 1 g division: to 500 g 0.5 g new and 1 g in use, to 2,000 g 1 and 2 g, above 1.5 and 3.

    The last is from memory.
    """
    item = fat_and_egg(tmp_path).ingredients[0]
    assert scale_named("oiml-new").error(item, Fraction(grams)) == Fraction(new)
    assert scale_named("OIML").error(item, Fraction(grams)) == 2 * Fraction(new)


def test_a_fine_step_is_weighed_on_a_fine_scale(tmp_path: Path) -> None:
    item = fat_and_egg(tmp_path).ingredients[0]
    fine = Ingredient(item.label, item.food, 4.0, step=0.1)
    assert scale_named("oiml").error(fine, Fraction(4)) == Fraction(1, 10)
    assert scale_named("1").error(fine, Fraction(4)) == 1
    assert Scale("x", None).error(fine, Fraction(0)) == 0


@pytest.mark.parametrize("text", ["", "-1", "nan", "much", "1e9", "oiml 3"])
def test_other_scales_are_faults(text: str) -> None:
    with pytest.raises(BadInput, match="expected g, 0 to 1,000, or oiml or oiml-new"):
        scale_named(text)


@pytest.mark.parametrize("form", ["text", "json", "csv"])
@pytest.mark.parametrize("command", ["solve", "check"])
def test_another_scale_is_refused_in_every_form_before_the_recipe_is_read(command: str, form: str) -> None:
    done = CliRunner().invoke(main, [command, "nowhere.toml", "--scale-error", "nonsense", "--format", form])
    assert done.exit_code == 1 and "expected g, 0 to 1,000, or oiml or oiml-new" in done.stderr and not done.stdout
