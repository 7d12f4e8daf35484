"""What the arrays of a menu are in doubt of they do not tell: coincidences, doubles that cannot tell, a wrong stack."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from ratio_solver import MenuOptions, solve_menu
from ratio_solver.lp.stack import Stack, StackSolution
from ratio_solver.menu import stacked
from tests.kitchen import food, table
from tests.menu.drawing import framed
from tests.menu.test_answers import MEAT, OIL, SUGAR, TALLOW, same, singles, tie

__all__ = ["singles"]


def coinciding(seed: int, count: int) -> pd.DataFrame:
    """Recipes of pure foods, all figures in tens: vertices lie on rows and bounds that are no part of them."""
    rng, rows = random.Random(seed), []
    for number in range(count):
        head = {"recipe": f"dish {number}", "servings": "1", "ratio": str(rng.choice((1, 2)))}
        for target in rng.sample(("fat_min", "net_carbs", "protein_min"), rng.randint(1, 2)):
            head[target] = str(10 * rng.randint(1, 8))
        rows.append(head | {"food": "meat", "grams": str(10 * rng.randint(1, 4))})
        for name in rng.sample(("oil", "tallow", "sugar"), rng.randint(1, 3)):
            low, high = sorted(rng.sample(range(0, 90, 10), 2))
            rows.append({"recipe": head["recipe"], "food": name, "grams": str(10 * rng.randint(0, 8)),
                         "min": str(low), "max": str(high)})
    return framed(rows)


@pytest.mark.parametrize("exact", [True, False])
def test_where_everything_coincides_the_answer_is_that_of_solve(exact: bool, tmp_path: Path) -> None:
    own = table(tmp_path, OIL, TALLOW, SUGAR, MEAT)
    counts = same(coinciding(5, 60), own, MenuOptions(exact=exact))
    assert min(counts.values()) > 8, counts


def test_a_vertex_on_another_row_has_its_price(tmp_path: Path) -> None:
    """By hand: 20 g of protein at 2:1 ask for 40 g of fat, and so does the least fat; each has its price."""
    own = table(tmp_path, OIL, MEAT)
    frame = tie(("oil", "0", "0", "100"), ("meat", "20", "", ""), ratio="2", fat_min="40")
    limits = solve_menu(frame, own, MenuOptions(exact=True)).limits.set_index("name")["price"].to_dict()
    assert limits == {"ratio": 20.0, "fat": 1.0}


@pytest.mark.parametrize("exact", [True, False])
def test_a_stack_that_is_wrong_is_found_out(exact: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                            singles: list[str]) -> None:
    """The best point of other costs keeps every row and is not the best: no figure of the menu changes."""
    rng = np.random.default_rng(3)
    right = stacked.solve_stack

    def wrong(stack: Stack) -> StackSolution:
        return right(replace(stack, cost=rng.uniform(0.1, 3.0, len(stack.cost))))

    monkeypatch.setattr(stacked, "solve_stack", wrong)
    own = table(tmp_path, OIL, TALLOW, SUGAR, MEAT)
    assert same(coinciding(6, 40), own, MenuOptions(exact=exact))["solved"] > 8
    assert singles


def test_a_vertex_of_the_dearer_food_is_found_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                  singles: list[str]) -> None:
    """Oil is to be kept three times as much as tallow, so tallow moves. A stack that has it the other way round finds a
    vertex that keeps every row; where that is taken for the best only the certificate tells."""
    right, of_stack = stacked.solve_stack, stacked.vertices
    monkeypatch.setattr(stacked, "solve_stack", lambda stack: right(replace(stack, cost=1 / stack.cost)))
    monkeypatch.setattr(stacked, "vertices", lambda *how: replace(at := of_stack(*how), best=np.ones_like(at.best)))
    own = table(tmp_path, OIL, TALLOW, MEAT)
    frame = tie(("oil", "0", "0", "100"), ("tallow", "0", "0", "100"), ("meat", "20", "", ""), ratio="2")
    frame["keep"] = ["3", "1", ""]
    found = solve_menu(frame, own, MenuOptions(exact=True))
    assert found.weights["grams"].tolist() == [0.0, 40.0, 20.0]
    assert singles


def test_a_row_that_is_missed_by_less_than_doubles_tell(tmp_path: Path) -> None:
    """By hand: 30 g of a paste with 33.33333333333333 % of fat hold less than 10 g, by 1e-15, so it takes 31."""
    own = table(tmp_path, food("paste", fat="33.33333333333333"), food("oil", fat=100))
    for lines in ([("paste", "0", "0", "90")], [("paste", "12", "0", "90"), ("oil", "3", "", "")]):
        frame = tie(*lines, fat_min="10" if len(lines) == 1 else "13")
        assert solve_menu(frame, own).weights["grams"].tolist()[0] == 31.0
        assert same(frame, own, MenuOptions()) == {"solved": 1, "impossible": 0}


def test_foods_that_are_nearly_alike_have_a_price_of_their_own(tmp_path: Path) -> None:
    """At 1:1 both pastes lift the row by 40 %; above, the one with 10 g of carbohydrate does a little more.

    By hand: 20 g of protein take 50 g of either. One more unit of ratio asks for the size of the rest: 20 + 5 g with
    the first, 20 + 5.02 with the second, which at 0.4 a gram are 62.5 and 62.55 g; the second is dearer.
    """
    first, second = food("first", fat=50, carbs=10), food("second", fat="50.04", carbs="10.04")
    for pair in ([first, second], [second, first]):
        own = table(tmp_path, *pair, MEAT)
        frame = tie(*((row["food"], "0", "0", "200") for row in pair), ("meat", "20", "", ""), ratio="1")
        limits = solve_menu(frame, own, MenuOptions(exact=True)).limits
        assert limits[limits["name"] == "ratio"]["price"].tolist() == [62.5]
        assert same(frame, own, MenuOptions(exact=True)) == {"solved": 1, "impossible": 0}


def test_the_price_of_a_limit_that_changes_within_a_hair(tmp_path: Path) -> None:
    """By hand: 20 g of protein at 2:1 ask for 40 g of oil, and so does the least fat. One more unit of ratio asks for
    20 g; but there are 40.00001 g, so that a hair further it is tallow that moves, of which a gram counts twice."""
    own = table(tmp_path, OIL, TALLOW, MEAT)
    frame = tie(("oil", "0", "0", "40.00001"), ("tallow", "0", "0", "100"), ("meat", "20", "", ""), ratio="2",
                fat_min="40")
    frame["keep"] = ["1", "2", ""]
    limits = solve_menu(frame, own, MenuOptions(exact=True)).limits.set_index("name")["price"].to_dict()
    assert limits == {"ratio": 20.0, "fat": 1.0}


def test_the_price_of_a_limit_where_another_food_is_best_a_hair_further(tmp_path: Path) -> None:
    """By hand: to 20 g of protein at 1:1 a gram of either paste brings 0.4 g of fat more than the rest of it, of the
    sweet one by 2e-10 g more. One more unit of ratio asks for the size of the rest, with the sweet paste 20 + 10 g, and
    from a ratio of 1.000000002 on with the other one 20 + 5 g: it is that of the paste that is in the dish."""
    own = table(tmp_path, food("sweet", fat="60.00000002", carbs=20), food("other", fat=50, carbs=10), MEAT)
    frame = tie(("sweet", "0", "0", "200"), ("other", "0", "0", "200"), ("meat", "20", "", ""), ratio="1")
    limits = solve_menu(frame, own, MenuOptions(exact=True)).limits
    assert limits[limits["name"] == "ratio"]["price"].tolist() == [75.0]
    assert same(frame, own, MenuOptions(exact=True)) == {"solved": 1, "impossible": 0}


def test_a_price_is_that_of_the_weights_before_they_are_rounded(tmp_path: Path) -> None:
    """By hand: P g of protein are P / 0.31 g of paste, which with 46 % of carbohydrate make P * 77 / 31 g that the fat
    is 2:1 to. One more unit of ratio asks for as much oil, of which a gram counts a thousandfold; the weights are given
    to 1e-9 g, and from these the sixth decimal would be another for one in three."""
    own = table(tmp_path, food("paste", protein=31, carbs=46), OIL)
    lines = [(f"{protein}", food_, *how) for protein in range(1, 25) for food_, *how in (
        ("paste", "0", "1", str(protein)), ("oil", "0", "1000", ""))]
    frame = framed([{"recipe": name, "servings": "1", "ratio": "2", "food": food_, "grams": start, "min": "0",
                     "max": "900", "keep": keep, "protein_min": name} for name, food_, start, keep, _ in lines])
    limits = solve_menu(frame, own, MenuOptions(exact=True)).limits
    assert limits[limits["name"] == "ratio"]["price"].tolist() == [
        float(round(Fraction(1000 * protein * 77, 31), 6)) for protein in range(1, 25)]


@pytest.mark.parametrize("least", ["19.99999", "19.9999999", "19.99999999"])
def test_a_price_that_holds_for_less_than_a_hair_is_not_taken_for_none(least: str, tmp_path: Path) -> None:
    """By hand: 10 g of fat at a ratio of at most R go with 10 / R g of sugar at least, at R = 1 / 2 with 20; one more
    unit of R saves 10 / R^2 = 40 g, but from a hair further on the least net carbs hold, and R saves nothing."""
    own = table(tmp_path, OIL, SUGAR)
    frame = tie(("oil", "10", "", ""), ("sugar", "50", "0", "100"), ratio_max="0.5", net_carbs_min=least)
    options = MenuOptions("lowest-carb", exact=True)
    assert solve_menu(frame, own, options).limits["price"].tolist() == [-40.0, 0.0]
    assert same(frame, own, options) == {"solved": 1, "impossible": 0}


@pytest.mark.parametrize("exact", [True, False])
@pytest.mark.parametrize("grams", ["33.3333333333", "33.3333333336", "33.33333333333333", "0.1234567894"])
def test_a_fixed_weight_of_more_than_nine_decimals_is_what_it_is(grams: str, exact: bool, tmp_path: Path) -> None:
    """A third of a cup: as much fat as the oil has just keeps either limit, met to the last digit; one more
    in that digit is more than there is."""
    own = table(tmp_path, OIL, SUGAR, food("water"))
    dish = ("oil", grams, "", ""), ("water", "50", "0", "100"), ("sugar", "3", "0", "9")
    for end in ("fat_min", "fat_max"):
        frame = tie(*dish, **{end: grams}, net_carbs="2")
        assert solve_menu(frame, own, MenuOptions(exact=exact)).limits["binding"].tolist()[0]
        assert same(frame, own, MenuOptions(exact=exact)) == {"solved": 1, "impossible": 0}
    if not exact:
        more = grams[:-1] + str(int(grams[-1]) + 1)
        assert same(tie(*dish, fat_min=more), own, MenuOptions()) == {"solved": 0, "impossible": 1}
