"""How an amount is dealt out to servings in whole steps of the scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.exact import ZERO, exact
from ratio_solver.recipe.model import Ingredient, Recipe

TENTH, HUNDREDTH = Fraction(1, 10), Fraction(1, 100)
"""Shares are weighed to 0.1 g where the ingredient has no step of its own, to 0.01 g where they are below 1 g."""

WHOLE, REST = "dish", "the rest"
"""Name of the part of ingredients that have none, without and with other parts."""


@dataclass(frozen=True)
class Share:
    """How an amount is dealt out.

    Attributes
    ----------
    part, ingredient : str
        `ingredient` is empty for a whole part.
    total : Fraction
        g for the batch.
    even : Fraction
        An even share, g, not rounded.
    grams : tuple of Fraction, one per serving
        g; with what is `left` over they add up to `total`.
    left : Fraction
        g that go into no portion, where portions of a stated weight do not take the whole batch.
    """

    part: str
    ingredient: str
    total: Fraction
    even: Fraction
    grams: tuple[Fraction, ...]
    left: Fraction = ZERO

    @property
    def counts(self) -> tuple[tuple[int, Fraction], ...]:
        """How many servings get how much, the larger share first."""
        sizes = sorted(set(self.grams), reverse=True)
        return tuple((self.grams.count(size), size) for size in sizes)


def part_names(recipe: Recipe) -> list[str]:
    """Parts in the order in which the recipe first names them."""
    return list(dict.fromkeys(part_of(ingredient, recipe) for ingredient in recipe.ingredients))


def part_of(ingredient: Ingredient, recipe: Recipe) -> str:
    """The part an ingredient is weighed out with."""
    return ingredient.part or (REST if any(i.part for i in recipe.ingredients) else WHOLE)


def dealt(total: Fraction, step: Fraction, servings: int, first: int = 0) -> tuple[Fraction, ...]:
    """So many shares of a total, each a multiple of a step; they add up to the total exactly.

    Every serving gets the even share cut to the step, and the steps that are left go one each to the
    servings from `first` on. What is left of the total below one step goes to the serving after those.

    >>> [str(share) for share in dealt(Fraction(100), Fraction(1), 3)]
    ['34', '33', '33']
    """
    steps, rest = divmod(total, step)
    base, more = divmod(int(steps), servings)
    shares = [base * step] * servings
    for k in range(more):
        shares[(first + k) % servings] += step
    shares[(first + more) % servings] += rest
    return tuple(shares)


def ingredient_shares(recipe: Recipe, weights: Sequence[Fraction], taken: Fraction) -> list[Share]:
    """What each serving gets of each ingredient, where the servings take that share of the batch.

    Each ingredient goes on dealing where the one before it stopped, so that no serving gets all the extras.
    """
    found = []
    first = 0
    for ingredient, weight in zip(recipe.ingredients, weights, strict=True):
        if not weight:
            continue
        step = exact(ingredient.step) if ingredient.step else TENTH if weight * taken >= recipe.servings else HUNDREDTH
        amount = _amount(weight, taken, step)
        shares = dealt(amount, step, recipe.servings, first)
        first += int(amount / step) % recipe.servings + (amount % step > 0)
        found.append(Share(part_of(ingredient, recipe), ingredient.label, weight, weight * taken / recipe.servings,
                           shares, weight - amount))
    return found


def _amount(total: Fraction, taken: Fraction, step: Fraction) -> Fraction:
    """What of a total is dealt out: all of it, or the share that the portions take, to the nearest step there is."""
    return total if taken == 1 else min(round(total * taken / step), total // step) * step


def part_shares(recipe: Recipe, shares: Sequence[Share], taken: Fraction) -> tuple[Share, ...]:
    """What each serving gets of a part: for a filling that is mixed first and weighed out as one."""
    found = []
    first = 0
    for name in part_names(recipe):
        total = sum((share.total for share in shares if share.part == name), ZERO)
        if total:
            amount = _amount(total, taken, TENTH)
            found.append(Share(name, "", total, total * taken / recipe.servings,
                               dealt(amount, TENTH, recipe.servings, first), total - amount))
            first += int(amount / TENTH) % recipe.servings + (amount % TENTH > 0)
    return tuple(found)
