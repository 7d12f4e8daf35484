"""Upper levels: the most of a substance that an adult may have in a day, where a composition table can tell.

Each with its source. None is medical advice, and for a child, in pregnancy or in illness less may be too much.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.foods.content import content
from ratio_solver.foods.ends import End, other_end
from ratio_solver.foods.nutrients import unit_of

if TYPE_CHECKING:
    from ratio_solver.foods.food import Food
    from ratio_solver.foods.policy import Policy


@dataclass(frozen=True)
class Level:
    """The most of a substance in a day.

    Attributes
    ----------
    name : str
        What a warning calls it.
    column : str
        Nutrient column of the tables.
    most : Fraction
        For an adult, in the column's unit.
    because : str
        What the figure is, and its source.
    reason : str
        What `Food.most_because` begins with, up to its colon, where a food's own most is for the same reason.
    decimals : int
        Of the amounts in a warning, which are rounded up.
    less : str
        Column of what is in `column` and does not count.
    passed_over : tuple of str
        Roles of the foods in which the column does not mean this substance.
    """

    name: str
    column: str
    most: Fraction
    because: str
    reason: str
    decimals: int = 0
    less: str = ""
    passed_over: tuple[str, ...] = ()

    @property
    def unit(self) -> str:
        """Unit of the amounts."""
        return unit_of(self.column) or "g"

    def held(self, food: Food, policy: Policy, end: End = "") -> Fraction | None:
        """What 100 g of a food hold, or None where that is unknown; at an end of the table's interval where asked."""
        if food.role in self.passed_over:
            return Fraction(0)
        amount = content(food, self.column, policy, end)
        if amount is None or not self.less:
            return amount
        return max(Fraction(0), amount - (content(food, self.less, policy, other_end(end)) or Fraction(0)))


LEVELS = (
    Level("retinol", "retinol_ug", Fraction(3000),
          "upper level of vitamin A for adults, a day (SCF 2002, from memory)", "vitamin A"),
    Level("selenium", "selenium_ug", Fraction(255),
          "upper level for adults, a day (EFSA 2023, 400 ug in the US, both from memory)", "selenium"),
    # 22:1 of fish is mostly cetoleic acid, which the release does not tell apart (from memory).
    Level("erucic acid", "erucic_g", Fraction(49, 100),
          "tolerable daily intake of 7 mg for each kg of body weight (EFSA 2016), at 70 kg", "erucic acid", 2,
          passed_over=("fish", "shellfish", "supplement")),
    Level("vitamin D", "vitamin_d_ug", Fraction(100),
          "upper level for adults, a day (EFSA 2012 and 2023, from memory)", "vitamin D"),
    Level("iodine", "iodine_ug", Fraction(600),
          "upper level for adults, a day (SCF 2002, 1,100 ug in the US, both from memory)", "iodine"),
    Level("polyols other than erythritol", "polyols_g", Fraction(20),
          "what is unlikely to be laxative, a day (SCF 1984, from memory)", "polyols", 1, less="erythritol_g"),
    Level("erythritol", "erythritol_g", Fraction(35),
          "acceptable daily intake of 0.5 g for each kg of body weight, for its laxative effect (EFSA 2023, from "
          "memory), at 70 kg", "erythritol", 1),
    Level("allulose", "allulose_g", Fraction(28),
          "0.4 g at once for each kg of body weight were borne without complaints (Han and others, Nutrients "
          "2018;10:2010, from memory), at 70 kg", "allulose", 1),
)
"""In the order in which they are told. A table need not have the columns."""
