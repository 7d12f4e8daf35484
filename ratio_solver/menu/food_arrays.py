"""The composition table as arrays, one figure per food, per nutrient, policy and end of the interval."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from ratio_solver.exact import ONE
from ratio_solver.foods.content import content, least_content
from ratio_solver.foods.ends import End, Kind
from ratio_solver.foods.levels import Level
from ratio_solver.foods.policy import RATIO_TERMS, Policy
from ratio_solver.foods.table import FoodTable
from ratio_solver.foods.worst import FIGURES, worst_corner
from ratio_solver.lp.model import Floats
from ratio_solver.lp.stack import Bools
from ratio_solver.recipe.model import RATIO

BEYOND = 1e15
"""Share of its most that 1 g of a food is of which a serving may hold nothing."""
"""Any bound: of the stacked formula, fat : (protein + net carbs), the corner does not depend on it."""


@dataclass(frozen=True)
class Worst:
    """The corner of the intervals at which a limit on the ratio is hardest to keep."""

    at_least: bool
    kind: Kind


@dataclass(frozen=True)
class FoodArrays:
    """Amounts per g of food as doubles, computed on first use; NaN where unknown.

    Attributes
    ----------
    foods : FoodTable
    """

    foods: FoodTable
    _amounts: dict[tuple[str, str, object], Floats] = field(default_factory=dict)
    _exact: dict[tuple[str, str, object], tuple[Fraction | None, ...]] = field(default_factory=dict)
    _allergens: dict[str, tuple[Bools, tuple[str, ...]]] = field(default_factory=dict)

    def amounts(self, column: str, policy: Policy, end: End = "") -> Floats:
        """A nutrient per g of each food, shape (foods,)."""
        key = (column, end, policy.key)
        if key not in self._amounts:
            self._amounts[key] = np.array([np.nan if value is None else float(value)
                                           for value in self.exact_amounts(column, policy, end)])
        return self._amounts[key]

    def exact_amounts(self, column: str, policy: Policy, end: End = "") -> tuple[Fraction | None, ...]:
        """The same in rationals; None where unknown."""
        key = (column, end, policy.key)
        if key not in self._exact:
            found = (content(food, column, policy, end) for food in self.foods)
            self._exact[key] = tuple(None if value is None else value / 100 for value in found)
        return self._exact[key]

    def least(self, column: str, policy: Policy, end: End = "") -> Floats:
        """The same, and where it is unknown the least that it can be."""
        key = (f"least {column}", end, policy.key)
        if key not in self._amounts:
            self._amounts[key] = np.array([float(value) for value in self.exact_least(column, policy, end)])
        return self._amounts[key]

    def exact_least(self, column: str, policy: Policy, end: End = "") -> tuple[Fraction, ...]:
        """The same in rationals."""
        key = (f"least {column}", end, policy.key)
        if key not in self._exact:
            pairs = zip(self.foods, self.exact_amounts(column, policy, end), strict=True)
            self._exact[key] = tuple(least_content(food, column, policy, end) / 100 if known is None else known
                                     for food, known in pairs)
        return self._exact[key]  # type: ignore[return-value]

    def exact_ratio(self, policy: Policy, above: bool, at: Worst | None = None) -> tuple[Fraction, ...]:
        """Numerator or denominator of the ratio per g of each food, in rationals; unknown counts as none.

        Without an end of their intervals each figure is as the table has it.
        """
        key = (RATIO, f"{above} {at}", policy.key)
        if key not in self._exact:
            terms = RATIO_TERMS[policy.ratio_formula][0 if above else 1]
            corners = [FIGURES if at is None else worst_corner(food, policy, at.at_least, ONE, at.kind)
                       for food in self.foods]
            self._exact[key] = tuple(
                sum((Fraction(share) * least_content(food, column, policy, corner.ends.get(column, ""), corner.held)
                     for column, share in terms.items()), Fraction(0)) / 100
                for food, corner in zip(self.foods, corners, strict=True))
        return self._exact[key]  # type: ignore[return-value]

    def ratio(self, policy: Policy, above: bool, at: Worst | None = None) -> Floats:
        """The same as doubles."""
        key = (RATIO, f"{above} {at}", policy.key)
        if key not in self._amounts:
            self._amounts[key] = np.array([float(value) for value in self.exact_ratio(policy, above, at)])
        return self._amounts[key]

    def given(self, column: str) -> Floats:
        """Which foods have a figure of their own for a column, shape (foods,)."""
        key = (column, "given", None)
        if key not in self._amounts:
            self._amounts[key] = np.array([float(column in food.amounts) for food in self.foods])
        return self._amounts[key]

    def allergens(self) -> tuple[Bools, tuple[str, ...]]:
        """Which food has which allergen, shape (foods, allergens), and the allergens in the order of the alphabet.

        Those that are known: which foods may have others, `allergens_unknown` tells.
        """
        if "has" not in self._allergens:
            names = tuple(sorted({name for food in self.foods for name in food.allergens or ()}))
            place = {name: number for number, name in enumerate(names)}
            has = np.zeros((len(self.foods), len(names)), dtype=bool)
            for number, food in enumerate(self.foods):
                has[number, [place[name] for name in food.allergens or ()]] = True
            self._allergens["has"] = has, names
        return self._allergens["has"]

    def most_used(self) -> Floats:
        """Share of the most of each food that 1 g of it is, shape (foods,); 0 where there is no most."""
        key = ("most", "", None)
        if key not in self._amounts:
            mosts = [food.most for food in self.foods]
            self._amounts[key] = np.array([0.0 if most is None else 1 / most if most else BEYOND for most in mosts])
        return self._amounts[key]

    def noted(self) -> Bools:
        """Foods of which something must be known however little is eaten, shape (foods,)."""
        return np.array([food.most is None and bool(food.most_because) for food in self.foods], dtype=bool)

    def of_level(self, level: Level, policy: Policy, end: End = "") -> Floats:
        """What each food holds of a substance, per g, shape (foods,); unknown counts as none."""
        key = (f"level {level.name}", end, policy.key)
        if key not in self._amounts:
            self._amounts[key] = np.array([float(level.held(food, policy, end) or 0) / 100 for food in self.foods])
        return self._amounts[key]

    def allergens_unknown(self) -> Bools:
        """Foods of whose allergens nobody has told all, shape (foods,)."""
        return np.array([food.allergens_unknown for food in self.foods], dtype=bool)
