"""What a draft holds: each written line with the foods understood of it, and the recipe file that they make."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.dish.cautions import cautions_for
from ratio_solver.foods.food import Food
from ratio_solver.foods.matching import SURE
from ratio_solver.outcome import Outcome
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.weighing import Weighed


@dataclass(frozen=True)
class Drafted:
    """One food of a written line.

    Attributes
    ----------
    words : str
        The cook's own, without the amount.
    label : str
        What the recipe calls it, unique in the recipe.
    food : Food
    grade : str
        How sure the food is: "exact", "other name", "close" or "guess"; "chosen" where the cook said which.
    others : tuple of Food
        The next candidates.
    weighed : Weighed
        Its weight, and what was assumed for it.
    counted : Fraction or None
        How many whole things it is, where it is counted in such.
    doubt : str
        What else the line allows or may mean.
    lacks : tuple of str
        What the line says that nothing bears out of the food: "sugar-free".
    """

    words: str
    label: str
    food: Food
    grade: str
    others: tuple[Food, ...]
    weighed: Weighed
    counted: Fraction | None = None
    doubt: str = ""
    lacks: tuple[str, ...] = ()

    @property
    def grams(self) -> float:
        """Its weight as it is written into the file, g: what a kitchen can weigh, at least 0.01."""
        exact = self.weighed.grams
        digits = 2 if exact < 2 else 1 if exact < 100 else 0
        return max(round(float(exact), digits), 0.01) if exact else 0.0

    @property
    def check(self) -> str:
        """What the cook should look at, in words; empty where nothing was guessed."""
        told = [note for note in (self.doubt, self.weighed.note) if note]
        if self.lacks:
            told.insert(0, f"nothing says that {self.food.name} is {' and '.join(self.lacks)}")
        elif self.grade not in (*SURE, "chosen"):
            other = " or ".join(food.name for food in self.others)
            told.insert(0, f"is {self.food.name} meant?" + (f" else {other}" if other else ""))
        return "; ".join(told)


@dataclass(frozen=True)
class DraftLine:
    """A written line and what was understood of it.

    Attributes
    ----------
    text : str
        As the cook wrote it.
    part : str
        The part of the dish it stands under; may be empty.
    foods : tuple of Drafted
        Several for "salt and pepper"; none where nothing could be read or matched.
    unread : tuple of str
        What of it is not in the recipe, and why.
    """

    text: str
    part: str
    foods: tuple[Drafted, ...]
    unread: tuple[str, ...] = ()


@dataclass(frozen=True, repr=False)
class Draft(Outcome):
    """A written recipe as a recipe file; its `outcome` is "drafted" or "nothing understood".

    Attributes
    ----------
    lines : tuple of DraftLine
        In the order in which they were written.
    text : str
        The recipe file (TOML).
    recipe : Recipe or None
        What the file reads back as; None where no line could be understood.
    look_at : tuple of str
        What the cook should look at: every guess, every line that is not in the recipe.
    measures : str
        Whose cups and spoons the lines were taken to mean.
    """

    lines: tuple[DraftLine, ...]
    text: str
    recipe: Recipe | None
    look_at: tuple[str, ...]
    measures: str

    reported_in = "tools.draft.report"

    @property
    def outcome(self) -> str:
        """Whether there is a recipe, in words."""
        return "drafted" if self.recipe else "nothing understood"

    @property
    def cautions(self) -> tuple[str, ...]:
        """What must be said beside its ratio."""
        return cautions_for(self.recipe) if self.recipe else ()
