"""Policy: the choices behind a stated ratio and net carbohydrate, always explicit and printed."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

RATIO_FORMULAS = ("net", "total", "ketogenic-quotient")
"""Published formulas of the ratio; see `RATIO_TERMS`."""

RATIO_TERMS: Mapping[str, tuple[Mapping[str, str], Mapping[str, str]]] = MappingProxyType({
    # fat : (protein + net carbohydrate), grams
    "net": ({"fat_g": "1"}, {"protein_g": "1", "net_carbs_g": "1"}),
    # fat : (protein + total carbohydrate), grams; fibre counts against the ratio
    "total": ({"fat_g": "1"}, {"protein_g": "1", "carbs_g": "1"}),
    # Woodyatt 1921 (Arch Intern Med 28:125), Wilder and Winter 1922 (J Biol Chem 52:393);
    # the carbohydrate is what the body can use: net.
    "ketogenic-quotient": (
        {"fat_g": "0.90", "protein_g": "0.46"},
        {"net_carbs_g": "1", "protein_g": "0.58", "fat_g": "0.10"},
    ),
})
"""Per formula the coefficients of numerator and denominator, as decimal text."""

_LEFT_OUT = MappingProxyType({"erythritol": 1.0, "polyols": 0.0, "allulose": 1.0})


@dataclass(frozen=True)
class Policy:
    """What counts as net carbohydrate, and which formula the ratio is.

    Attributes
    ----------
    ratio_formula : {"net", "total", "ketogenic-quotient"}
        Formula of the ratio.
    left_out : mapping of str to float
        Share (0 to 1) of erythritol, of the other polyols and of allulose that does not count as net
        carbohydrate. Unless said: erythritol and allulose in full, other polyols not at all.
    unknown_as_zero : tuple of str
        Nutrient columns whose unknown figures a maximum may count as nothing. Without it a maximum
        over an unknown figure is a fault: missing is not zero.
    """

    ratio_formula: str = "net"
    left_out: Mapping[str, float] = field(default_factory=lambda: _LEFT_OUT)
    unknown_as_zero: tuple[str, ...] = ()

    @property
    def formula(self) -> str:
        """What to say beside a ratio of another formula than grams of fat to protein + net carbs.

        >>> Policy().formula, Policy("ketogenic-quotient").formula
        ('', ' (ketogenic quotient)')
        """
        return {"net": "", "total": " (fat : protein + total carbs)",
                "ketogenic-quotient": " (ketogenic quotient)"}[self.ratio_formula]

    def described(self) -> str:
        """The policy in one sentence, as it is printed under every stated ratio."""
        ratio = {
            "net": "ratio = fat : (protein + net carbs)",
            "total": "ratio = fat : (protein + total carbs)",
            "ketogenic-quotient": "ratio = (0.90 fat + 0.46 protein) : (net carbs + 0.58 protein + 0.10 fat)",
        }[self.ratio_formula]
        names = {"erythritol": "erythritol", "polyols": "other polyols", "allulose": "allulose"}
        left = [
            names[key] if share == 1 else f"{share:.0%} of {names[key]}"
            for key, share in self.left_out.items()
            if share
        ]
        return f"{ratio}; net carbs leave out {', '.join(['fibre', *left])}"
