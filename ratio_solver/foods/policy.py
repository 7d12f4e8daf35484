"""Policy: the choices behind a stated ratio and net carbohydrate, always explicit and printed."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType
from typing import TYPE_CHECKING

from ratio_solver.exact import exact
from ratio_solver.foods.quantities import RATIO, RATIOS, Quantity, quantity_of, with_medium_chain
from ratio_solver.foods.substances import POLYOLS, SUBSTANCE_KINDS, SUBSTANCES

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from ratio_solver.foods.substances import Substance

ENERGIES = ("table", "annex-xiv", "us", "9/4/4")
"""Whence energy: the table's own figure (else Annex XIV of Regulation (EU) 1169/2011); Annex XIV for every food; US
label rules; or as clinics reckon a prescription, 9 kcal for fat, 4 for protein, 4 for net carbs."""

MCT_ENERGIES = (5.0, 9.0)
"""Least and most kcal per g that medium-chain fat may be said to have; 8.3 is what clinics commonly take."""

_ENERGY_WORDS = MappingProxyType({
    "annex-xiv": "energy by Annex XIV of Regulation (EU) 1169/2011",
    "us": "energy by US factors (4 protein, 9 fat, 4 carbs, each polyol its own, fibre 2 unless known as insoluble)",
    "9/4/4": "energy = 9 fat + 4 protein + 4 net carbs (and 7 alcohol)",
})

_LEFT_OUT = MappingProxyType({"erythritol": 1.0, POLYOLS: 0.0, "allulose": 1.0})


@dataclass(frozen=True)
class Policy:
    """What counts as net carbohydrate, which formula the ratio is, and how energy is reckoned.

    Attributes
    ----------
    ratio_formula : {"net", "total", "ketogenic-quotient"}
        Formula of the ratio.
    left_out : mapping of str to float
        Share (0 to 1) of each substance (`ratio_solver.foods.substances`) that does not count as net carbohydrate;
        "polyols" is that of the kinds not named. Unless said: erythritol and allulose in full, nothing else.
    unknown_as_zero : tuple of str
        Nutrient columns whose unknown figures a maximum may count as nothing. Without it a maximum
        over an unknown figure is a fault: missing is not zero.
    energy : {"table", "annex-xiv", "us", "9/4/4"}
        Whence energy.
    mct_energy : float or None
        kcal per g of medium-chain fat wherever energy is reckoned by factors; None counts it as any fat, 9.
    """

    ratio_formula: str = "net"
    left_out: Mapping[str, float] = field(default_factory=lambda: _LEFT_OUT)
    unknown_as_zero: tuple[str, ...] = ()
    energy: str = "table"
    mct_energy: float | None = None

    @cached_property
    def key(self) -> tuple[object, ...]:
        """The whole policy as something to look figures up by."""
        return (self.ratio_formula, tuple(sorted(self.left_out.items())), self.unknown_as_zero, self.energy,
                self.mct_energy)

    def named(self, substance: Substance) -> str:
        """The key of `left_out` that a substance falls under, whether it is there or not."""
        follows = substance.kind and not substance.alone and substance.key not in self.left_out
        return POLYOLS if follows else substance.key

    def share(self, substance: Substance) -> Fraction:
        """Share of a substance that does not count as net carbohydrate.

        >>> from ratio_solver.foods.substances import BY_KEY
        >>> halved = Policy(left_out={"erythritol": 1.0, "polyols": 0.5})
        >>> [str(halved.share(BY_KEY[key])) for key in ("erythritol", "xylitol", "glycerol", "tagatose")]
        ['1', '1/2', '0', '0']
        """
        return exact(self.left_out.get(self.named(substance), 0.0))

    @cached_property
    def shares(self) -> Mapping[str, Fraction]:
        """Share of every substance that does not count as net carbohydrate, by its key."""
        return {substance.key: self.share(substance) for substance in SUBSTANCES}

    def quantity(self, key: str) -> Quantity:
        """The quantity that a target is about, as this policy reckons it (`ratio_solver.foods.quantities`)."""
        if key == RATIO:
            return RATIOS[self.ratio_formula]
        found = quantity_of(key)
        return found if self.mct_energy is None else with_medium_chain(found, self.mct_energy)

    @property
    def formula(self) -> str:
        """What to say beside a ratio of another formula than grams of fat to protein + net carbs.

        >>> Policy().formula, Policy("ketogenic-quotient").formula
        ('', ' (ketogenic quotient)')
        """
        return {"net": "", "total": " (fat : protein + total carbs)",
                "ketogenic-quotient": " (ketogenic quotient)"}[self.ratio_formula]

    def described(self, keys: Iterable[str] = ()) -> str:
        """The policy in one sentence, as it is printed under every stated ratio, and how these quantities are reckoned.

        >>> Policy(left_out={"erythritol": 1.0, "polyols": 0.5, "xylitol": 0.0}).described().partition("; ")[2]
        'net carbs leave out fibre, erythritol, 50 % of other polyols (but xylitol and glycerol)'
        """
        left = (self._left_out_words(substance) for substance in SUBSTANCES if self.left_out.get(substance.key))
        said = [RATIOS[self.ratio_formula].reckoned, f"net carbs leave out {', '.join(['fibre', *left])}"]
        if self.energy in _ENERGY_WORDS:
            said.append(_ENERGY_WORDS[self.energy])
        if self.mct_energy is not None:
            unless = ", where the table has no energy of its own" if self.energy == "table" else ""
            said.append(f"medium-chain fat at {self.mct_energy:g} kcal/g{unless}")
        by_source: dict[str, list[str]] = {}
        for quantity in map(self.quantity, dict.fromkeys(keys)):
            if quantity.reckoned and quantity.key != RATIO:
                by_source.setdefault(quantity.source, []).append(quantity.reckoned)
        said += [", ".join(words) + (f" ({source})" if source else "") for source, words in by_source.items()]
        return "; ".join(said)

    def _left_out_words(self, substance: Substance) -> str:
        """A substance that is left out, the share where it is not all, and of polyols the kinds that count in full."""
        share = self.share(substance)
        words = substance.name if share == 1 else f"{percent(share)} of {substance.name}"
        counted = [kind.name for kind in SUBSTANCE_KINDS if self.named(kind) != POLYOLS and not self.share(kind)]
        if substance.key != POLYOLS or not counted:
            return words
        return f"{words} (but {' and '.join(filter(None, (', '.join(counted[:-1]), counted[-1])))})"


def percent(share: Fraction) -> str:
    """A share in percent with all its decimals.

    >>> percent(Fraction("0.125")), percent(Fraction("0.07"))
    ('12.5 %', '7 %')
    """
    return f"{float(share * 100)!r}".removesuffix(".0") + " %"
