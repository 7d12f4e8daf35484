"""The lines of a card's ingredients: what each is called, what food it is, its weight and how to measure it."""

from __future__ import annotations

from fractions import Fraction

from ratio_solver.exact import exact
from ratio_solver.output.numbers import short, visible
from ratio_solver.recipe.measures import household
from ratio_solver.recipe.model import Ingredient

MOST_OFF = Fraction(1, 8)
"""A household measure that misses the weight by more than this share of it is not shown."""

GLUE = "\u00a0"
"""A space at which no line is broken."""

QUARTERS = {0: "", 1: "¼", 2: "½", 3: "¾"}
_WRITTEN = {"1/4": "¼", "1/2": "½", "3/4": "¾"}


def food_beside(label: str, food: str) -> str:
    """The food, where the label does not say it; only what the label leaves out where it is the food's first words.

    >>> food_beside("turnip", "turnip, raw"), food_beside("stale rolls", "bread, white"), food_beside("salt", "salt")
    ('raw', 'bread, white', '')
    >>> food_beside("psyllium", "psyllium husk powder"), food_beside("minced lamb", "lamb, minced")
    ('husk powder', '')
    """
    said, whole = label.casefold(), food.casefold()
    if _words(whole) <= _words(said):
        return ""
    if whole.startswith(said) and whole[len(said):len(said) + 1] in (",", " "):
        return food[len(label):].lstrip(", ")
    return food


def _words(text: str) -> set[str]:
    return set(text.replace(",", " ").split())


def grams_text(grams: Fraction) -> str:
    """What goes on the scale: all its decimals up to three, else to a hundredth, and never a 0 that is not one.

    >>> grams_text(Fraction(1, 8)), grams_text(Fraction(200, 3)), grams_text(Fraction(1, 1000000))
    ('0.125', '66.67', '0.000001')
    """
    if (grams * 1000).denominator == 1:
        return short(grams, 3)
    return visible(grams, 2)


def measure_beside(ingredient: Ingredient, grams: Fraction, every: bool = False) -> str:
    """How many of the cook's household measure, or of whole pieces, a weight is; empty where that says nothing.

    The measures of a food are of the food before preparation, so with a yield there are none. With `every`, of what
    the cook measured otherwise the measure of the food that suits the amount.
    """
    size = ingredient.food.measures.get(ingredient.measure)
    if size and ingredient.yield_ == 1:
        count = Fraction(round(grams / exact(size) * 4), 4)
        off = abs(count * exact(size) - grams)
        if count and off <= MOST_OFF * grams:
            whole, quarters = divmod(int(count * 4), 4)
            return f"{'about ' if off else ''}{whole or ''}{QUARTERS[quarters]}{GLUE}{ingredient.measure}"
    if ingredient.piece and (grams / exact(ingredient.piece)).denominator == 1:
        return f"{short(grams / exact(ingredient.piece), 0)}{GLUE}×{GLUE}{short(exact(ingredient.piece))}{GLUE}g"
    if every and (found := household(ingredient.food, grams, exact(ingredient.yield_))):
        return f"{'' if found.grams == grams else 'about '}{_in_signs(str(found))}"
    return ""


def _in_signs(measure: str) -> str:
    """A measure with its quarters as signs: "3¼ tbsp" for "3 1/4 tbsp"."""
    words = [_WRITTEN.get(word, word) for word in measure.split(" ")]
    counted = "".join(words[:2]) if len(words) > 2 and words[1] in _WRITTEN.values() else words[0]
    return GLUE.join([counted, *words[2 if counted != words[0] else 1:]])
