"""A diagnosis in the cook's words: one sentence for the conflict, one line for each change that cures it."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.foods.nutrients import ENERGY

if TYPE_CHECKING:
    from ratio_solver.dish.constraints import Limit
    from ratio_solver.solving.result import Diagnosis, Repair

MORE = ">="


def sentence(diagnosis: Diagnosis) -> str:
    """The conflict in one sentence.

    "With at least 120 g of stale rolls, no weights give at most 5 g net carbs per serving."
    """
    if not diagnosis.conflict:
        return "The best weights are those of an empty dish, and that has no ratio."
    targets = [asked(limit) for limit in diagnosis.conflict if limit.kind == "target"]
    others = [asked(limit) for limit in diagnosis.conflict if limit.kind != "target"]
    weights = "weights on the steps" if diagnosis.steps else "dish" if diagnosis.empty else "weights"
    verb = "gives" if diagnosis.empty else "give"
    if not targets:
        return f"No {weights} {verb} {listed(others)}{' together' if len(others) > 1 else ''}."
    both = "both " if len(targets) == 2 else ""
    given = f"With {listed(others)}, no" if others else "No"
    return f"{given} {weights} {verb} {both}{listed(targets)}."


def empty_sentence(diagnosis: Diagnosis) -> str:
    """What is missing where only an empty dish would do."""
    only = "Only an empty dish breaks none of the limits, and that has no ratio. " if diagnosis.conflict else ""
    return f"{only}A least weight of the batch is missing: give an ingredient or a part a minimum."


def steps_sentence(diagnosis: Diagnosis) -> str:
    """What is in the way where weights between the steps would do, and what does without a change of the limits.

    "In whole pieces: egg, 50 g each. Weights between the steps do (--exact), and a finer step may."
    """
    pieces = [f"{one.ingredient}, {written(one.grams)} g each" for one in diagnosis.stepped if one.piece]
    steps = [f"{one.ingredient}, {written(one.grams)} g" for one in diagnosis.stepped if not one.piece]
    said = [f"In whole pieces: {'; '.join(pieces)}."] if pieces else []
    said += [f"In steps: {'; '.join(steps)}."] if steps else []
    whole = {one.ingredient for one in diagnosis.stepped if one.piece}
    if all(limit.kind == "ingredient" and limit.subject.words in whole for limit in diagnosis.conflict):
        return " ".join([*said, "Weights between the pieces do (--exact)."])
    return " ".join([*said, "Weights between the steps do (--exact), and a finer step may."])


def asked(limit: Limit) -> str:
    """A limit as a noun: "a ratio of at least 2:1", "at most 60 g of olive oil"."""
    end = "at least" if limit.sense == MORE else "at most"
    size = measure(limit, limit.bound)
    if limit.unit == ":1":
        return f"a ratio of {end} {size}"
    if limit.kind == "target":
        return f"{end} {size} {_nutrient(limit)}per serving"
    if limit.kind == "part":
        return f"{end} {size} of {limit.subject.words}"
    if limit.kind == "proportion":
        return f"{end} {size} {limit.name}"
    if limit.kind == "choose":
        return f"{end} {size} of {limit.subject.words}"
    return f"{end} {size} of {limit.subject.words}"


def told(repair: Repair) -> str:
    """What to change, as an order: "raise olive oil's maximum from 60 g to 84 g"."""
    limit = repair.limit
    more = limit.sense == MORE
    to, was = measure(limit, repair.to), measure(limit, limit.bound)
    if limit.unit == ":1":
        return f"accept {to} instead of {was}" if more else f"allow a ratio of up to {to} instead of {was}"
    if limit.kind == "target":
        verb = "accept" if more else "allow"
        return f"{verb} {to} {_nutrient(limit)}per serving instead of {was}"
    if limit.kind == "part":
        return f"let the {limit.subject.words} weigh {to} instead of {was}"
    if limit.kind == "proportion":
        return f"{'accept' if more else 'allow'} {to} {limit.name} instead of {was}"
    if limit.kind == "choose":
        return f"use up to {to} of {limit.subject.words} instead of {was}"
    owner = possessive(limit.subject.words)
    return f"{'lower' if more else 'raise'} {owner} {'minimum' if more else 'maximum'} from {was} to {to}"


def measure(limit: Limit, value: Fraction) -> str:
    """A bound in its unit, with all its decimals: "5 g", "1.74:1", "12.5 %"."""
    if limit.unit == ":1":
        text = written(value)
        whole, _, rest = text.partition(".")
        return f"{whole}.{rest:0<2}:1" if rest else f"{whole}:1"
    if limit.unit == "share":
        return f"{written(value * 100)} %"
    if limit.unit == "used":
        return written(value)
    return f"{written(value)} {limit.unit}"


def written(value: Fraction) -> str:
    """A decimal as it is written into a recipe file, nothing rounded off.

    >>> written(Fraction(84)), written(Fraction(35, 8)), written(Fraction(3, 10**7))
    ('84', '4.375', '0.0000003')
    """
    for places in range(15):
        if (value * 10**places).denominator == 1:
            return f"{Decimal(int(value * 10**places)).scaleb(-places):f}"
    return repr(float(value))


def possessive(name: str) -> str:
    """Whose maximum it is.

    >>> possessive("olive oil"), possessive("stale rolls")
    ("olive oil's", "stale rolls'")
    """
    return f"{name}'" if name.endswith("s") else f"{name}'s"


def listed(words: Sequence[str]) -> str:
    """Words as a list in a sentence.

    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _nutrient(limit: Limit) -> str:
    return "" if limit.nutrient == ENERGY else f"{limit.name} "
