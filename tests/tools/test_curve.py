"""The curves: breakpoints against re-solving 1e-4 to each side, pieces against re-solving between, by GLOP too."""

from __future__ import annotations

import csv
import io
import json
import random
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, Curve, Curves, Recipe, Target, curve, load_foods, recipe_from
from ratio_solver.cli import main
from ratio_solver.dish.constraints import limits_of
from ratio_solver.dish.status import state_of
from ratio_solver.lp.solve import solve_lp
from ratio_solver.solving.formulation import formulate
from ratio_solver.tools.curve.report import curves_plot, here_words
from tests.kitchen import food, table
from tests.oracle import recipes
from tests.oracle.second_opinion import best_ratio, solve_closest, solve_objective
from tests.solving.dishes import FIXED, GRATIN, dish

NEAR = Fraction(1, 10**4)
SEEDS = 36
KINDS = ("plain", "mixed", "choose")


@cache
def drawn(seed: int) -> tuple[dict[str, Any], list[dict[str, str]], Recipe]:
    """A seeded random recipe as a mapping with its rows, and as ours."""
    rows = recipes.random_table(seed % 4, 45)
    table = recipes.random_recipe(random.Random(f"curve {seed}"), rows, kind=KINDS[seed % 3])
    return table, rows, recipe_from(table, _foods(seed % 4))


@cache
def _foods(number: int) -> Any:
    path = Path(f"{_folder()}/foods{number}.csv")
    recipes.write_table(path, recipes.random_table(number, 45))
    return load_foods(path, bundled=False)


@cache
def _folder() -> str:
    import tempfile

    return tempfile.mkdtemp()


@cache
def curves_of(seed: int) -> Curves:
    return curve(dish(GRATIN) if seed < 0 else drawn(seed)[2])


def solved(recipe: Recipe, ratio: Fraction, prefer: str = "closest") -> tuple[Any, ...] | None:
    """The LP solved afresh by the ordinary way at a least ratio: objective, weights."""
    old = recipe.target("ratio")
    held = recipe.with_targets(Target("ratio", float(ratio), old.maximum if old else None))
    formulation = formulate(held, prefer)
    found = solve_lp(formulation.model)
    if found is None:
        return None
    objective = found.basis.value(formulation.model.whole_costs[0]) + formulation.constant
    return float(objective), formulation.weights(found.values[:len(formulation.adjustable)])


def standing(recipe: Recipe, weights: tuple[Fraction, ...]) -> frozenset[str]:
    """What binds at some weights (but for the least ratio), and what is at its start."""
    states = [state_of(limit, weights, Fraction(1, 10**6)) for limit in limits_of(recipe)]
    binds = {s.limit.name for s in states if s.binding and s.limit.kind != "choose" and not s.limit.least_ratio}
    still = {f"{i.label} at start" for i, w in zip(recipe.ingredients, weights, strict=True)
             if i.adjustable and abs(w - Fraction(str(i.start))) < Fraction(1, 10**6)
             and not {f"{i.label} min", f"{i.label} max"} & binds}
    return frozenset(binds | still)


def told(recipe: Recipe, one: Curve, place: int) -> frozenset[str]:
    piece = one.pieces[place]
    choose = {limit.name for limit in limits_of(recipe) if limit.kind == "choose"}
    return frozenset(set(piece.binding) - choose | {f"{label} at start" for label in piece.at_start})


def both_sides(one: Curve) -> Iterator[tuple[int, Fraction]]:
    """1e-4 to each side of every breakpoint and end, where the piece is wide enough: piece and x."""
    for place, piece in enumerate(one.pieces):
        if piece.end - piece.start > 3 * NEAR:
            yield place, piece.start + NEAR
            yield place, (piece.start + piece.end) / 2
            yield place, piece.end - NEAR


@pytest.mark.parametrize("seed", range(-1, SEEDS))
def test_moves_against_the_ratio_agree_with_solving_again(seed: int) -> None:
    recipe = dish(GRATIN) if seed < 0 else drawn(seed)[2]
    _, one = curves_of(seed).curves
    for place, ratio in both_sides(one):
        again = solved(recipe, ratio)
        assert again is not None
        assert again[0] == pytest.approx(float(one.pieces[place].at(ratio)), rel=1e-7, abs=1e-6)
        assert standing(recipe, again[1]) == told(recipe, one, place), float(ratio)
    for before, after in pairwise(range(len(one.pieces))):
        point = one.points[after]
        assert told(recipe, one, before) != told(recipe, one, after) or point.passes, float(point.x)
        assert point.binds or point.frees or point.leaves or point.returns or point.passes


@pytest.mark.parametrize("seed", range(-1, SEEDS))
def test_the_highest_ratio_agrees_with_solving_again(seed: int) -> None:
    """At the ratio drawn the least net carbs are the ceiling; 1e-4 more ratio needs more net carbs."""
    recipe = dish(GRATIN) if seed < 0 else drawn(seed)[2]
    loose = replace(recipe, targets=tuple(
        t if t.nutrient != "net_carbs_g" else Target(t.nutrient, t.minimum) for t in recipe.targets))
    one, _ = curves_of(seed).curves
    for place, ceiling in both_sides(one):
        piece = one.pieces[place]
        ratio = piece.at(ceiling)
        again = solved(loose, ratio, "lowest-carb")
        if piece.at(piece.start) == piece.at(piece.end):  # another choice takes over at the end
            more = solved(loose, ratio + Fraction(1, 10**6), "lowest-carb")
            assert recipe.chooses and again is not None and more is not None
            assert (again[0], more[0]) == (pytest.approx(float(piece.start)), pytest.approx(float(piece.end), rel=1e-4))
            continue
        assert again is not None and again[0] == pytest.approx(float(ceiling), rel=1e-6, abs=2e-6)
        binds = {name for name in standing(loose, again[1]) if not name.endswith(" at start")}
        assert binds == {name for name in told(loose, one, place) if not name.endswith(" at start")}
    for before, after in pairwise(range(len(one.pieces))):
        assert one.pieces[before].binding != one.pieces[after].binding \
            or recipe.chooses or one.points[after].passes, float(one.points[after].x)


@pytest.mark.parametrize("seed", range(SEEDS))
def test_the_ends_and_the_middle_agree_with_another_solver(seed: int) -> None:
    """GLOP: the best reachable ratio, the moves at the middle of each piece, the ratio under a ceiling."""
    table, rows, _ = drawn(seed)
    found = curves_of(seed)
    best = best_ratio(table, rows)
    assert (found.best_ratio is None) == (best is None)
    if best is None:
        return
    assert float(found.best_ratio) == pytest.approx(best, rel=1e-6)  # type: ignore[arg-type]
    ceilings, moves = found.curves
    old = table["targets"]["ratio"]
    band = {"max": old["max"]} if isinstance(old, dict) and "max" in old else {}
    for piece in moves.pieces:
        middle = float((piece.start + piece.end) / 2)
        other = solve_closest(table | {"targets": table["targets"] | {"ratio": {"min": middle, **band}}}, rows)
        assert other.objective == pytest.approx(float(piece.at(Fraction(middle))), rel=1e-6, abs=1e-5)
    for piece in ceilings.pieces:
        middle = float((piece.start + piece.end) / 2)
        held = table["targets"] | {"net_carbs": middle}
        other_best = best_ratio(table | {"targets": held}, rows)
        assert other_best == pytest.approx(float(piece.at(Fraction(middle))), rel=1e-5)
    if ceilings.points:
        no_ceiling = {k: v for k, v in table["targets"].items() if k not in ("net_carbs", "ratio")}
        loose = table | {"targets": no_ceiling | ({"ratio": band} if band else {})}
        fewest = solve_objective(loose, rows, "lowest-carb")
        assert fewest.objective == pytest.approx(float(ceilings.points[0].x), rel=1e-6, abs=1e-6)


def test_the_draws_have_pieces() -> None:
    drawn_curves = [one for seed in range(SEEDS) for one in curves_of(seed).curves]
    assert sum(len(one.pieces) for one in drawn_curves) > 150
    assert sum(bool(one.pieces) for one in drawn_curves) > SEEDS


@pytest.mark.parametrize("seed", range(-1, SEEDS))
def test_curves_are_whole_and_rise(seed: int) -> None:
    for one in curves_of(seed).curves:
        assert len(one.points) == len(one.pieces) + 1 if one.pieces else len(one.points) <= 1
        for piece, after in pairwise(one.pieces):
            assert piece.end == after.start
            assert after.at(after.start) - piece.at(piece.end) >= -Fraction(1, 10**9)
        assert all(piece.start < piece.end and piece.at(piece.start) <= piece.at(piece.end) for piece in one.pieces)


def test_one_oil_and_a_fixed_dish_by_hand() -> None:
    """200 g of meat (5 % fat, 20 % protein) and up to 60 g of oil: g = (40 R - 10), R from 10/40 to 70/40."""
    from tests.tools.test_add_fat import food, own

    recipe = own()
    oil = replace(recipe.ingredients[0], label="oil", food=food("oil", 100, 0, 0), start=0.0, minimum=0.0, maximum=60.0)
    found = curve(replace(recipe, ingredients=(*recipe.ingredients, oil)))
    _, moves = found.curves
    assert found.best_ratio == Fraction(70, 40)
    assert [(p.x, p.y) for p in moves.points] == [(Fraction(1, 4), 0), (Fraction(7, 4), 60)]
    assert moves.at(Fraction(1)) == 30 and moves.pieces[0].formula[3] == 0
    assert moves.own is not None and not moves.own.reachable and moves.own.y is None


def test_a_dish_that_can_be_pure_fat_goes_on_and_one_without_answer_has_no_curve() -> None:
    free = dish(GRATIN.replace("grams = 100\n\n[parts", "grams = 100\nmin = 0\nmax = 100\n\n[parts"),
                targets={"ratio": 2.0}, parts={}, proportions=[])
    others = (i for i in free.ingredients if i.label != "butter, salted")
    free = replace(free, ingredients=tuple(replace(i, minimum=0.0) for i in others))
    _, moves = curve(free).curves
    assert moves.endless and moves.points[-1].x == 10
    none = curve(dish(GRATIN, targets={"ratio": 2.0, "protein": {"min": 300}}))
    assert none.best_ratio is None and all(not one.points for one in none.curves)


def test_ranges() -> None:
    whole, part = curve(dish(GRATIN), ["ratio"]), curve(dish(GRATIN), ["ratio"], start=2.5, end=3.0)
    (one,), (cut,) = whole.curves, part.curves
    assert cut.points[0].x == Fraction(5, 2) and cut.points[-1].x == 3 and cut.endless
    assert [p.x for p in cut.points[1:-1]] == [p.x for p in one.points if Fraction(5, 2) < p.x < 3]
    for faulty, expected in (({"start": 3.0, "end": 2.0}, "lower first"), ({"start": -1.0}, "0 or more")):
        with pytest.raises(BadInput, match=expected):
            curve(dish(GRATIN), ["ratio"], **faulty)
    with pytest.raises(BadInput, match="say which with --of"):
        curve(dish(GRATIN), start=2.0)
    with pytest.raises(BadInput, match="nothing can move"):
        curve(dish(FIXED), ["ratio"])
    large = dish(GRATIN)
    item = next(item for item in large.ingredients if item.adjustable)
    with pytest.raises(BadInput, match="at most 300 adjustable"):
        curve(replace(large, ingredients=(item,) * 301), ["ratio"])


@pytest.mark.parametrize("of", ["net-carbs", "ratio"])
def test_a_range_asked_for_is_no_end_of_the_curve(of: str) -> None:
    """What is only the start of the range is not called the fewest net carbs, nor the dish nearest the start."""
    whole = curve(dish(GRATIN), (of,)).curves[0]
    first, last = float(whole.points[0].x), float(whole.points[-1].x)
    part = curve(dish(GRATIN), (of,), start=first + (last - first) / 3, end=last - (last - first) / 3).curves[0]
    told = [here_words(one, place) for one in (whole, part) for place in (0, len(one.points) - 1)]
    assert told[0] in ("the fewest net carbs reachable", "the dish nearest the start")
    assert told[1].startswith("the best reachable")
    assert told[2:] == ["comes from below", "goes on from here"]


@pytest.mark.parametrize("starts", [(0, 0), (0, 40), (30, 10)])
@pytest.mark.parametrize("least", [0, 1])
def test_two_sweeteners_that_share_a_least_share(starts: tuple[int, int], least: int, tmp_path: Path) -> None:
    """Equally good but for the order of the list, which doubles do not tell apart beside the net carbs.

    By hand: the fewest net carbs are those of the least flour and butter, (0.07 * 120 + 0 * 100) / 12 = 0.7 g, at a
    ratio of (72 + 81) : (18 + 1 + 8.4) = 5.58; with all the butter it is (72 + 283.5) : (18 + 3.5 + 8.4) = 11.89.
    """
    foods = table(tmp_path, food("nut flour", 60, 15, 17, 10), food("butter", 81, 1),
                  food("sweet one"), food("sweet two"))
    bounds = {"nut flour": (250, 120, 300), "butter": (150, 100, 350),
              "sweet one": (starts[0], least, 200), "sweet two": (starts[1], least, 200)}
    written = {
        "title": "Nut cake", "servings": 12, "targets": {"ratio": 4, "net_carbs": 2},
        "ingredients": [{"food": name, "grams": grams, "min": low, "max": high, "part": "cake"}
                        for name, (grams, low, high) in bounds.items()],
        "proportions": [{"of": ["sweet one", "sweet two"], "to": "cake", "min": 0.15}],
    }
    recipe = recipe_from(written, foods)
    against_net, against_ratio = curve(recipe).curves
    assert float(against_net.points[0].x) == pytest.approx(0.7)
    assert float(against_net.points[-1].y) == pytest.approx(355.5 / 29.9)
    for place, ratio in both_sides(against_ratio):
        again = solved(recipe, ratio)
        assert again is not None and again[0] == pytest.approx(float(against_ratio.pieces[place].at(ratio)), abs=1e-6)


def test_command_and_picture(tmp_path: Path) -> None:
    file = tmp_path / "gratin.toml"
    file.write_text(GRATIN, encoding="utf-8")
    run, picture = CliRunner(), tmp_path / "curve.png"
    text = run.invoke(main, ["curve", str(file), "--plot", str(picture)])
    assert text.exit_code == 0 and max(map(len, text.stdout.splitlines())) <= 80
    assert "olive oil max starts to bind" in text.stdout and "At 3:1 and above" in text.stdout
    assert picture.read_bytes().startswith(b"\x89PNG")
    svg = curves_plot(curves_of(-1), "x.svg").decode()
    for words in ("net-carb ceiling, g per serving", "moved from the start, g per batch", "the recipe",
                  "olive oil max binds", "physician and dietitian", dish(GRATIN).title):
        assert words in svg
    assert curves_plot(curves_of(-1), "x.svg").decode() == svg
    data = json.loads(run.invoke(main, ["curve", str(file), "--format", "json"]).stdout)
    rows = list(csv.DictReader(io.StringIO(run.invoke(main, ["curve", str(file), "--format", "csv"]).stdout)))
    assert [row["x"] for row in rows] == [str(p["x"]) for one in data["curves"] for p in one["points"]]
    for one in data["curves"]:
        for piece, (start, end) in zip(one["pieces"], pairwise(one["points"]), strict=True):
            p, q, r, s = piece["formula"].values()
            assert (p + q * piece["from"]) / (r + s * piece["from"]) == pytest.approx(start["y"])
            assert (p + q * piece["to"]) / (r + s * piece["to"]) == pytest.approx(end["y"])
    wrong = run.invoke(main, ["curve", str(file), "--plot", str(tmp_path / "curve.jpg")])
    assert wrong.exit_code == 1 and "expected a file ending in .png or .svg" in wrong.output
    hard = run.invoke(main, ["curve", str(file), "--target", "protein>=300"])
    assert hard.exit_code == 3 and "impossible" in hard.stdout


def test_without_matplotlib_the_message_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "matplotlib", None)
    with pytest.raises(BadInput, match=r"pip install '\.\[plots\]'"):
        curves_plot(curves_of(-1), "x.png")
    assert curve(dish(GRATIN)).curves




@pytest.mark.parametrize("of", ["net-carbs", "ratio"])
def test_a_dish_that_can_have_no_fat_has_no_curve(of: str, tmp_path: Path) -> None:
    """Sugar alone, and nothing at all where salt that there is none of is to be a share of the dish."""
    foods = table(tmp_path, food("sugar", carbs=100), food("butter", 81, 1), food("salt"))
    sugar = {"food": "sugar", "grams": 10, "min": 0, "max": 20}
    butter, salt = {"food": "butter", "grams": 10, "min": 0, "max": 20}, {"food": "salt", "grams": 0}
    asked = {"title": "x", "servings": 1, "targets": {"ratio": 1}}
    share = [{"of": ["salt"], "to": "batch", "min": 0.1}]
    for dish_ in ({"ingredients": [sugar]}, {"ingredients": [butter, salt], "proportions": share}):
        found = curve(recipe_from({**asked, **dish_}, foods), (of,))
        assert found.best_ratio == 0
        assert found.curves[0].pieces == found.curves[0].points == ()
