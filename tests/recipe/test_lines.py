"""Amounts, units and words of written lines."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from ratio_solver.recipe.amounts import amount_at, plain
from ratio_solver.recipe.lines import items
from ratio_solver.recipe.units import MASSES, UNIT_OF, VOLUMES
from ratio_solver.recipe.written_text import line_kind_of, servings_in, written_in

GLYPHS = {Fraction(1, 2): "½", Fraction(1, 4): "¼", Fraction(3, 4): "¾", Fraction(1, 3): "⅓", Fraction(2, 3): "⅔",
          Fraction(1, 8): "⅛", Fraction(3, 8): "⅜", Fraction(1, 5): "⅕", Fraction(5, 6): "⅚"}


def counted(text: str) -> tuple[Fraction, str]:
    found = amount_at(plain(text))
    assert found is not None, text
    return found[0].count, found[0].unit


@given(
    whole=st.integers(0, 40),
    share=st.sampled_from([None, *GLYPHS]),
    unit=st.sampled_from(["cups", "tbsp", "g", "kg", "oz", "lb.", "ml", "EL", "c. à s.", "tsp."]),
    glued=st.booleans(),
    way=st.integers(0, 4),
)
def test_a_number_is_read_in_every_spelling(
    whole: int, share: Fraction | None, unit: str, glued: bool, way: int
) -> None:
    value = whole + (share or 0)
    if value == 0:
        return
    front = str(whole) if whole else ""
    written = front
    if share is not None:
        fraction = f"{share.numerator}/{share.denominator}"
        written = [
            f"{front}{GLYPHS[share]}",
            f"{front} {GLYPHS[share]}".strip(),
            f"{front} {fraction}".strip(),
            f"{front}-{fraction}" if front else fraction,
            f"{front} {share.numerator}⁄{share.denominator}".strip(),
        ][way]
    text = f"{written}{'' if glued else ' '}{unit} butter"
    assert counted(text) == (value, UNIT_OF[unit.rstrip(".").lower()])


@given(st.decimals("0.01", "900", places=2), st.booleans())
def test_decimals_take_a_point_or_a_comma(value: object, comma: bool) -> None:
    text = str(value).replace(".", ",") if comma else str(value)
    assert counted(f"{text} kg flour") == (Fraction(str(value)), "kg")


@given(st.text(max_size=120))
@example("1/\u0660 cup flour")  # a zero that is not the ASCII one
def test_no_text_stops_the_reading(text: str) -> None:
    line_kind_of(text)
    assert all(item.amount is None or item.amount.count >= 0 for item in items(text))
    written_in(text)
    servings_in(text)


@pytest.mark.parametrize(
    ("text", "count", "unit"),
    [
        ("1,000 g flour", 1000, "g"),
        ("1.500 g Mehl", 1500, "g"),
        ("0,125 l Milch", Fraction(1, 8), "l"),
        ("2 to 3 carrots", Fraction(5, 2), ""),
        ("2–3 tbsp water", Fraction(5, 2), "tbsp"),
        ("1 lb 2 oz beef", Fraction(9, 8), "lb"),
        ("one and a half cups milk", Fraction(3, 2), "cup"),
        ("half a lemon", Fraction(1, 2), ""),
        ("a dozen eggs", 12, ""),
        ("pinch of salt", 1, "pinch"),
        ("2 heaped tbsp cocoa", Fraction(5, 2), "tbsp"),
        ("1 T. butter", 1, "tbsp"),
        ("225g/8oz butter", 225, "g"),
        ("8 oz / 225 g butter", 225, "g"),
        ("1 cup plus 2 tbsp sugar", Fraction(9, 8), "cup"),
        ("une pincée de sel", 1, "pinch"),
        ("zwei Zehen Knoblauch", 2, "clove"),
        ("2 rib-eye steaks", 2, ""),
        ("6 cloves", 6, ""),
    ],
)
def test_amounts(text: str, count: Fraction | int, unit: str) -> None:
    assert counted(text) == (count, unit)


@pytest.mark.parametrize(("text", "count", "each"), [
    ("2 x 400 g tins tomatoes", 2, "400 g"), ("1 (14 oz) can beans", 1, "14 oz"), ("2 14-ounce cans beans", 2, "14 oz"),
    ("400g tin chickpeas", 1, "400 g"), ("4 (6-oz) cod fillets", 4, "6 oz"), ("1 1.5kg chicken", 1, "1.5 kg"),
    ("4 chicken breasts, about 150g each", 4, "150 g"), ("2 cans (15 ounces each) beans", 2, "15 oz"),
])
def test_what_one_holds(text: str, count: int, each: str) -> None:
    amount = items(text)[0].amount
    assert amount is not None and amount.each is not None and amount.count == count
    assert f"{float(amount.each.count):g} {amount.each.unit}" == each


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Salt and pepper, to taste", ["Salt", "black pepper"]),
        ("Salz, Pfeffer, Muskat", ["Salz", "Pfeffer", "Muskat"]),
        ("juice and zest of 1 lemon", ["lemon juice", "lemon zest"]),
        ("1 lime, juiced", ["lime juice"]),
        ("2 tbsp lemon juice", ["lemon juice"]),
        ("2 eggs plus 1 yolk", ["eggs", "yolk"]),
        ("Butter – 50 g", ["Butter"]),
        ("1 tsp each cumin, coriander and paprika", ["cumin", "coriander", "paprika"]),
        ("Eggs x 3", ["Eggs"]),
        ("50 g butter, plus extra for greasing", ["butter"]),
        ("2 Knoblauchzehen", ["Knoblauch"]),
        ("1 stock cube dissolved in 500 ml boiling water", ["stock cube", "boiling water"]),
        ("vegetable or olive oil, for frying", ["vegetable"]),
        ("2 tbsp extra-virgin olive oil", ["extra-virgin olive oil"]),
    ],
)
def test_words(text: str, words: list[str]) -> None:
    assert [item.words for item in items(text)] == words


@pytest.mark.parametrize(("text", "aside", "whole"), [
    ("vegetable or olive oil, for frying", ["olive oil"], "vegetable oil"),
    ("2 tbsp oil (vegetable or sunflower)", ["sunflower oil"], "vegetable oil"),
    ("1 l Gemüse- oder Hühnerbrühe", ["Hühnerbrühe"], "Gemüsebrühe"),
    ("2 tbsp red or white wine vinegar", ["white wine vinegar"], "red wine vinegar"),
    ("100 g pecans/walnuts", ["walnuts"], None), ("2 tbsp tamari (or soy sauce)", ["soy sauce"], "tamari sauce"),
    ("50 g de beurre ou de margarine", ["margarine"], None), ("1 onion or 2 shallots", ["shallots"], None),
    ("2 onions, sliced", [], None), ("50 g butter, or more to taste", [], None),
])
def test_a_choice_that_a_line_leaves(text: str, aside: list[str], whole: str | None) -> None:
    item = items(text)[0]
    assert list(item.aside) == aside and (whole in item.wholes if whole else not item.wholes)


@pytest.mark.parametrize(
    ("name", "book", "pint_name"),
    [
        *(
            (name, "us", unit)
            for name, unit in (
                ("cup", "cup"),
                ("tbsp", "tablespoon"),
                ("tsp", "teaspoon"),
                ("fl oz", "floz"),
                ("pint", "pint"),
                ("quart", "quart"),
                ("gallon", "gallon"),
            )
        ),
        *(
            (name, "uk", f"imperial_{unit}")
            for name, unit in (
                ("pint", "pint"),
                ("fl oz", "fluid_ounce"),
                ("gallon", "gallon"),
                ("quart", "quart"),
                ("cup", "cup"),
            )
        ),
        *((name, "metric", name) for name in ("ml", "cl", "dl", "l")),
    ],
)
def test_volumes_are_those_of_a_library_of_units(name: str, book: str, pint_name: str) -> None:
    units = pytest.importorskip("pint").UnitRegistry()
    assert float(VOLUMES[book][name]) == pytest.approx(units.Quantity(1, pint_name).to("ml").magnitude, rel=1e-9)


@pytest.mark.parametrize("name", ["g", "mg", "kg", "oz", "lb"])
def test_weights_are_those_of_a_library_of_units(name: str) -> None:
    units = pytest.importorskip("pint").UnitRegistry()
    assert float(MASSES[name]) == pytest.approx(units.Quantity(1, name).to("g").magnitude, rel=1e-12)


def test_a_text_has_title_servings_parts_and_steps() -> None:
    found = written_in(
        "Herb bake\nServes 6\n\nFor the base:\n200 g flour\n\nTopping\n2 eggs\n\nMethod\n1. Mix.\n2) Bake.\n"
    )
    assert (found.title, found.servings, found.method) == ("Herb bake", 6, ("Mix.", "Bake."))
    assert [(line.text, line.part) for line in found.lines] == [("200 g flour", "base"), ("2 eggs", "Topping")]


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("Serves 4-6", 4),
        ("Makes 12 muffins", 12),
        ("Für 4 Personen", 4),
        ("Pour 6 personnes", 6),
        ("4 servings", 4),
        ("8", 8),
        ("1 loaf", None),
        ("Makes about 3 cups", None),
        ("Yield: 2 loaves", None),
        ("a crowd", None),
    ],
)
def test_yields(text: str, count: int | None) -> None:
    assert servings_in(text) == count
