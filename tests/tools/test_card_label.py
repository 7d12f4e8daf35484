"""What a label must say beside its figures: polyols, and whose list the allergens follow."""

from __future__ import annotations

from pathlib import Path

import pytest

from ratio_solver import card, check, recipe_from
from ratio_solver.tools.card.label import LAXATIVE
from tests.kitchen import dish, food, table

ROWS = (
    food("curd", 10, 10, 4, allergens="milk"),
    food("erythritol", carbs=100, polyols_g=100, erythritol_g=100, allergens="none"),
    food("maltitol", carbs=100, polyols_g=100, allergens="none"),
)
MUST, MAY = f"More than 10 % polyols: {LAXATIVE}", f"a label then says: {LAXATIVE}"


def page(folder: Path, *ingredients: tuple[str, float], label: str = "eu", **more: float) -> str:
    recipe = recipe_from(dish([{"food": name, "grams": grams} for name, grams in ingredients], 4, **more),
                         table(folder, *ROWS))
    return card(check(recipe), label)


@pytest.mark.parametrize("polyol", ["erythritol", "maltitol"])
def test_more_than_a_tenth_of_polyols_is_stated(polyol: str, tmp_path: Path) -> None:
    """100 g of 1000 g are not more than a tenth; of a finished weight of 999 g they are."""
    assert MUST in page(tmp_path, ("curd", 890), (polyol, 110), finished_grams=1000)
    assert LAXATIVE not in page(tmp_path, ("curd", 900), (polyol, 100), finished_grams=1000)
    assert MUST in page(tmp_path, ("curd", 900), (polyol, 100), finished_grams=999)
    assert MUST in page(tmp_path, ("curd", 900), (polyol, 100), cooking_loss=0.1)


def test_both_kinds_count_together_and_only_on_that_label(tmp_path: Path) -> None:
    dessert = (("curd", 880.0), ("erythritol", 60.0), ("maltitol", 60.0))
    assert MUST in page(tmp_path, *dessert)
    assert LAXATIVE not in page(tmp_path, *dessert, label="us")
    assert LAXATIVE not in page(tmp_path, *dessert, label="none")


def test_what_cooking_may_bring_above_a_tenth_is_said(tmp_path: Path) -> None:
    """80 g of the 1000 g that go in: where the oven takes 200 g they are the tenth."""
    baked = page(tmp_path, ("curd", 920), ("erythritol", 80))
    assert MAY in baked and MUST not in baked
    assert LAXATIVE not in page(tmp_path, ("curd", 950), ("erythritol", 50))


def test_a_us_label_says_whose_allergens_these_are(tmp_path: Path) -> None:
    words = "follow the list of Regulation (EU) No 1169/2011, Annex II, not that of US law"
    card_us = page(tmp_path, ("curd", 100), label="us")
    assert words in card_us and "pine nut" in card_us
    assert words not in page(tmp_path, ("curd", 100)) and words not in page(tmp_path, ("curd", 100), label="none")
