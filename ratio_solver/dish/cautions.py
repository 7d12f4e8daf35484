"""Cautions that go with a stated ratio: the whole of them, what fits a screen, and what fits a cell."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from ratio_solver.dish.nutrition import Facts
from ratio_solver.exact import ZERO
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.recipe.model import RATIO, Recipe

COMMAND = "ratio-solver cautions"
"""Where the whole can be read."""

WHOLE = (
    "Figures are computed from composition tables; they are no medical advice. For anyone on a prescribed "
    "diet the prescribing physician and dietitian come first.",
    "No ketogenic diet with any of these (contraindications, Kossoff et al., Epilepsia Open 2018;3:175-192): primary "
    "carnitine deficiency; carnitine palmitoyltransferase (CPT) I or II deficiency; carnitine translocase deficiency; "
    "beta-oxidation defects (of fatty acids); pyruvate carboxylase deficiency; porphyria.",
    "Only with a physician who watches over it (from memory, not read in a source): anyone who takes SGLT2 inhibitors "
    "(ketoacidosis, even when blood sugar is not high), insulin or sulfonylureas (low blood sugar), carbonic anhydrase "
    "inhibitors such as topiramate, zonisamide or acetazolamide (acidosis, kidney stones) or other medicines, which "
    "may have to be changed; anyone pregnant or breastfeeding; children; anyone who has or had kidney stones, a "
    "disease of kidneys, liver, pancreas or gallbladder, diabetes, epilepsy, a metabolic disease or an eating "
    "disorder.",
)
"""Told wherever there is room: on cards, in JSON, in the README, by the command. A paragraph each."""

STRONG_FROM = Fraction(3)
"""The ratio, to one, of prescribed ketogenic therapy."""

STRONG_CAUTION = (
    "At 3:1 and above this is the range of prescribed ketogenic therapy: it is used only under a physician "
    "and dietitian who have ordered this ratio, with their own composition figures. A published ratio holds "
    "only with the figures it was computed from."
)
BY_GRAMS = f"By fat : (protein + net carbs) a serving is at 3:1 or above. {STRONG_CAUTION}"
"""The same where the recipe's own formula gives less: its reader must not think that it is about another dish."""

PRESCRIBERS = "A prescription is made by those who prescribe; this tool only computes."
"""Told with every figure of a person's day."""

SCREEN = (
    "Caution: no medical advice. Some illnesses and medicines forbid this diet. Ill, pregnant or a child: "
    f"physician and dietitian first. All: {COMMAND}"
)
"""The whole in two lines of 80 columns, with where the whole is."""

STRONG_SCREEN = {
    STRONG_CAUTION: "Caution: At 3:1 and above only under a physician and dietitian who ordered it.",
    BY_GRAMS: "Caution: At 3:1 and above by grams of net carbs: only if a physician ordered it.",
}
"""The stronger cautions in a line of 80 columns."""

SHORT = (
    "no medical advice; physician and dietitian first",
    "no medical advice; at 3:1 and above only under a physician and dietitian who ordered this ratio",
)
"""For a cell beside figures: the usual caution, and the stronger one."""


def cautions() -> tuple[str, ...]:
    """All that is to be said beside a ratio.

    Returns
    -------
    tuple of str
        A paragraph each; the last one from 3:1 up.

    Examples
    --------
    >>> from ratio_solver import cautions
    >>> cautions()[0].partition(";")[0]
    'Figures are computed from composition tables'
    """
    return (*WHOLE, STRONG_CAUTION)


def cautions_for(recipe: Recipe, *servings: Facts) -> tuple[str, ...]:
    """Cautions that go with a stated ratio; stronger from 3:1 up, or where there is no finite ratio.

    The ratio by the recipe's formula counts, wanted or reached, and so does fat : (protein + net carbs), by which
    therapy is prescribed: of total carbs, or as a quotient, the same dish has a lower figure. Compared exactly.

    Parameters
    ----------
    recipe : Recipe
    servings : Facts
        Of every serving that the report is about; none where there are no weights.
    """
    target = recipe.target(RATIO)
    wanted = max((end for end in (target.minimum, target.maximum) if end is not None), default=0.0) if target else 0
    if wanted >= STRONG_FROM or any(facts.ratio is None or facts.ratio >= STRONG_FROM for facts in servings):
        return *WHOLE, STRONG_CAUTION
    return (*WHOLE, BY_GRAMS) if any(map(_strong_by_grams, servings)) else WHOLE


BY_GRAMS_COLUMNS = ("fat_g", "protein_g", NET_CARBS)
"""Of a serving's amounts those that its cautions hang on, beside the ratio."""


def _strong_by_grams(facts: Facts) -> bool:
    """Whether a serving's fat : (protein + net carbs), grams, is that of therapy, whatever formula the recipe has."""
    fat, protein, net = (facts.amounts.get(column, ZERO) for column in BY_GRAMS_COLUMNS)
    return fat >= STRONG_FROM * (protein + net)


def strongest(told: Iterable[tuple[str, ...]]) -> tuple[str, ...]:
    """Of the cautions that go with several answers those of the one that has most of them."""
    return max(told, key=len)


def is_strong(told: Sequence[str]) -> bool:
    """Whether the stronger caution is among those that go with an answer."""
    return any(caution in STRONG_SCREEN for caution in told)


def on_screen(told: Sequence[str]) -> tuple[str, ...]:
    """The cautions that go with an answer, short enough for a screen: two lines, and one more from 3:1 up."""
    return (SCREEN, *(STRONG_SCREEN[caution] for caution in told if caution in STRONG_SCREEN)) if told else ()


def in_a_cell(told: Sequence[str]) -> str:
    """The same, short enough for a cell."""
    return SHORT[is_strong(told)]
