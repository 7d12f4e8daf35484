"""Limits of a day, changes of them and why there is no answer, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.day.limits import DayLimit
from ratio_solver.dish.constraints import MORE, Limit
from ratio_solver.foods.nutrients import ENERGY
from ratio_solver.foods.quantities import SHARE
from ratio_solver.recipe.model import RATIO
from ratio_solver.tools.solve import relaxation_words
from ratio_solver.tools.solve.relaxation_words import listed, measure

if TYPE_CHECKING:
    from ratio_solver.solving.result import Diagnosis, Repair


def where(limit: Limit, own: bool = False) -> str:
    """Whose limit it is: "at dinner for Room 7", "in the day of Room 7", "in Moussaka"; `own` where it is said."""
    if not isinstance(limit, DayLimit):
        return ""
    if limit.who and own:
        return f"at {limit.meal}" if limit.meal else "in the day"
    if limit.who:
        return f"at {limit.meal} for {limit.who}" if limit.meal else f"in the day of {limit.who}"
    return f"in {limit.dish}"


def limit_in_words(limit: Limit, own: bool = False) -> str:
    """A limit as a noun: "at least 30 g protein in the day of B", "900 g of cream in stock".

    A bound that is a share of something is told to a hundredth, on the side that keeps it. With `own` whose it is has
    been said.
    """
    end = "at least" if limit.sense == MORE else "at most"
    size = measure(limit, _told_bound(limit))
    if limit.kind == "pot":
        return f"{size} of {limit.subject.words}" if limit.bound else f"whole batches of {limit.subject.words}"
    if limit.kind == "stock":
        return f"{size} of {limit.subject.words} in stock"
    if limit.kind == "ingredient":
        return f"{end} {size} of {limit.subject.words}"
    if limit.kind != "target" or not _of_people(limit):
        return f"{relaxation_words.asked(limit)} {where(limit)}"
    if limit.nutrient == RATIO:
        return f"a ratio of {end} {size} {where(limit, own)}"
    return f"{end} {size}{_of_what(limit)} {where(limit, own)}"


def _of_what(limit: Limit) -> str:
    """What a bound is of, after it: nothing where its unit says that."""
    return "" if limit.nutrient in (RATIO, ENERGY) else f" {'of ' if limit.unit == SHARE else ''}{limit.subject.words}"


def _told_bound(limit: Limit) -> Fraction:
    """A bound as it is told: with all its decimals where it has few, else to a hundredth on the stricter side."""
    scaled = limit.bound * 100
    if (limit.bound * 10**6).denominator == 1:
        return limit.bound
    return Fraction(math.ceil(scaled) if limit.sense == MORE else math.floor(scaled), 100)


def change_in_words(repair: Repair) -> str:
    """What to change, as an order: "accept 2.7:1 at dinner for Room 7 instead of 3:1"."""
    limit, to, was = repair.limit, measure(repair.limit, repair.to), measure(repair.limit, _told_bound(repair.limit))
    if limit.kind == "pot":
        return f"cook {to} of {limit.subject.words} instead of {was}"
    if limit.kind == "stock":
        return f"have {to} of {limit.subject.words} in stock instead of {was}"
    if limit.kind == "ingredient":
        least = limit.sense == MORE
        return f"{'lower the least' if least else 'raise the most'} {limit.subject.words} from {was} to {to}"
    if limit.kind != "target" or not _of_people(limit):
        return f"{relaxation_words.told(repair)} {where(limit)}"
    verb = "accept" if limit.sense == MORE else "allow"
    return f"{verb} {to}{_of_what(limit)} {where(limit)} instead of {was}"


def _of_people(limit: Limit) -> bool:
    return isinstance(limit, DayLimit) and bool(limit.people)


def conflict_in_words(diagnosis: Diagnosis, together: bool = False) -> str:
    """The conflict in one sentence.

    "With at least 30 g protein in the day of B and 1200 g of soup, dinner cannot stay at 3:1 for B."
    """
    if diagnosis.undecided:
        return "No portions were found in the time, and it is not known that there are none; --time-limit gives more."
    ratios = _claimed(diagnosis.conflict)
    others = [limit_in_words(limit) for limit in diagnosis.conflict if limit not in ratios]
    on_steps = " on the steps of the scale" if diagnosis.steps else ""
    if not ratios:
        what = "weights and portions" if together else "portions"
        return f"No {what}{on_steps} give {listed(others)}{' together' if len(others) > 1 else ''}."
    first = ratios[0]
    meals = listed([limit.meal or "the day" for limit in ratios])
    claim = f"{meals} cannot stay at {measure(first, first.bound)} for {first.who}{on_steps}."
    return f"With {listed(others)}, {claim}" if others else claim[0].upper() + claim[1:]


def _claimed(conflict: Sequence[Limit]) -> list[DayLimit]:
    """The ratios that cannot be kept: those of the people whose ratio is the last of the conflict's, all the same."""
    found = [limit for limit in conflict if isinstance(limit, DayLimit) and limit.people and limit.least_ratio]
    return [limit for limit in found if (limit.who, limit.bound) == (found[-1].who, found[-1].bound)]
