"""A food from its package: the row of a composition table that a label's figures give, with their intervals.

Figures are those of the label, scaled to 100 g. Where a label says 0 or "less than", there may be some: carbohydrate
and protein count the most that can be, as a ratio counts them against, fat and fibre the least. Salt becomes sodium
(Regulation (EU) 1169/2011, Annex I: salt is sodium times 2.5).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from math import isfinite

from ratio_solver.errors import BadInput, Fault, collected, one_line, shown
from ratio_solver.exact import HUNDRED, ZERO
from ratio_solver.foods.content import ALCOHOL_KCAL, CARBOHYDRATE_KCAL, FAT_KCAL, FIBRE_KCAL, PROTEIN_KCAL
from ratio_solver.foods.csv_file import CsvFile
from ratio_solver.foods.food import Food
from ratio_solver.foods.label_rounding import LABEL_ROUNDING, Printed, printed
from ratio_solver.foods.nutrients import MG_IN_SALT
from ratio_solver.foods.rows import foods_in
from ratio_solver.foods.substances import BY_KEY

BASIS = {"us": "by_difference", "eu": "available"}
"""Carbohydrate of a US label includes fibre (21 CFR 101.9(c)(6), quoted); of an EU label it does not (Annex I)."""

KJ = Fraction("4.184")
"""kJ of a kcal (Regulation (EU) No 1169/2011, annex I, from memory)."""

OWN_RULES = ("energy", "fat", "saturates", "sodium", "salt")
"""Figures that are not rounded as grams are."""

COLUMN = {
    "energy": "energy_kcal", "fat": "fat_g", "saturates": "saturated_g", "carbs": "carbs_g", "sugars": "sugars_g",
    "fibre": "fibre_g", "protein": "protein_g", "alcohol": "alcohol_g", "sodium": "sodium_mg", "salt": "sodium_mg",
    **{key: substance.column for key, substance in BY_KEY.items()},
}
"""Figure of a label to column of the table."""

SAID = ("brand", "packed", "source", "allergens", "role", "measures", "price")
NEEDED = ("fat", "carbs", "protein")
_IN_CARBS = ("sugars", *BY_KEY)
PART_AND_WHOLE = {label: (("saturates", "fat"), *((part, "carbs") for part in parts))
                  for label, parts in {"us": (*_IN_CARBS, "fibre"), "eu": _IN_CARBS}.items()}
"""Figures that are part of another one, and of which; on a US label fibre is part of the carbohydrate."""
WEIGH_TOGETHER = {"us": (*NEEDED, "alcohol"), "eu": (*NEEDED, "alcohol", "fibre")}
"""Figures that together weigh no more than the food; on an EU label fibre is beside the carbohydrate."""
AGAINST = ("carbs", "protein", "sugars", "saturates", "alcohol")
"""Of these a label's 0 counts as the most that it may be: a diet sets them a maximum."""

LEAST_ENERGY = {"us": Fraction(9, 10), "eu": Fraction(1)}
"""US energy may be reckoned by a food's own factors, a tenth lower at most (21 CFR 101.9(c)(1)(i), from memory)."""


@dataclass(frozen=True)
class Package:
    """What stands on a package.

    Attributes
    ----------
    name : str
    label : {"us", "eu"}
    per : Fraction
        Grams that the figures are for.
    figures : mapping of str to str
        Figure (a key of `COLUMN`) to what is printed: "15", "0", "< 0.5", "less than 1 g"; energy in kcal, sodium in
        mg.
    said : mapping of str to str
        What else is said of it (keys of `SAID`), as in a composition table; `packed` is the date on the package.
    """

    name: str
    label: str
    per: Fraction
    figures: Mapping[str, str]
    said: Mapping[str, str]


def food_from_label(name: str, figures: Mapping[str, float | str], *, label: str, per: float, brand: str = "",
                    packed: str = "", source: str = "", allergens: str = "") -> Food:
    """The food that the figures of its package give.

    Parameters
    ----------
    name : str
    figures : mapping of str to float or str
        As printed: `fat`, `carbs` and `protein`, and any other key of `COLUMN`; "< 0.5" and "less than 1" included.
    label : {"us", "eu"}
        Whose rules of rounding hold.
    per : float
        Grams that the figures are for.
    brand, packed, source, allergens : str
        Kept with the food; allergens as on the label, with ``;`` between them.

    Returns
    -------
    Food
        Per 100 g, with the interval that the label's rounding leaves.

    Raises
    ------
    BadInput
        For what is no figure or missing, and for figures that contradict one another beyond their rounding.

    Examples
    --------
    >>> from ratio_solver import food_from_label
    >>> food = food_from_label("almonds, bagged", {"fat": 15, "carbs": 6, "fibre": 3, "protein": 6}, label="us", per=30)
    >>> food.amounts["fat_g"], food.low["fat_g"], food.high["fat_g"]
    (50.0, 48.3333, 51.6667)
    """
    collected(Fault("label", key, shown(figures[key]), f"expected one of {', '.join(COLUMN)}") for key in figures
              if key not in COLUMN)
    if not isfinite(per):
        raise _not_for(per)
    texts = {key: str(text) if isinstance(text, str) else f"{text:.10g}" for key, text in figures.items()}
    said = {"brand": brand, "packed": packed, "source": source, "allergens": allergens}
    return _food(row_of(Package(name, label, Fraction(str(per)), texts, said)))


def row_of(package: Package) -> dict[str, str]:
    """The cells of its row, per 100 g, with the interval of each figure (columns ``_low`` and ``_high``).

    Raises
    ------
    BadInput
        For what is no figure or missing, and for figures that contradict one another beyond their rounding.
    """
    if package.label not in BASIS:
        raise BadInput([Fault("--label", "", shown(package.label), f"expected {' or '.join(BASIS)}")])
    if not 0 < package.per <= 10_000:
        raise _not_for(float(package.per))
    read = _read(package)
    _contradictions(package, read)
    values = _figures(package, read)
    said = defaultdict(str, package.said)
    named = package.name.lower().startswith(said["brand"].lower())
    whole = package.name if named else f"{said['brand']} {package.name}"
    cells = {"food": one_line(package.name), "id": f"label:{one_line(whole).lower()}",
             "carb_basis": BASIS[package.label]}
    for name, one in read.items():
        column, factor = COLUMN[name], HUNDRED / package.per * (MG_IN_SALT if name == "salt" else 1)
        cells[column] = _decimal(values[name] * factor, ROUND_HALF_EVEN)
        cells[f"{column}_low"] = _decimal(min(one.low, values[name]) * factor, ROUND_FLOOR)
        most = one.high if name in ("energy", "sodium") else min(one.high, package.per)
        cells[f"{column}_high"] = _decimal(max(most, values[name]) * factor, ROUND_CEILING)
    cells.setdefault("fibre_g", "")
    told = [f"label of the package ({package.label.upper()} rules, per {float(package.per):g} g)",
            one_line(said["brand"]), f"packed {one_line(said['packed'])}" if said["packed"] else "",
            one_line(said["source"])]
    cells |= {"allergens": said["allergens"], "role": said["role"], "measures": said["measures"],
              "price_per_kg": said["price"], "source": "; ".join(filter(None, told))}
    _food(cells)
    return cells


def _not_for(per: float) -> BadInput:
    """What is said of grams for which no label has figures."""
    return BadInput([Fault("--per", "", f"{per:g}", "expected grams, above 0 and at most 10,000")])


def _food(cells: dict[str, str]) -> Food:
    foods, faults = foods_in(CsvFile("label", tuple(cells), ((1, cells),), False))
    collected(Fault("label", fault.place.partition(", ")[2], fault.got, fault.expected) for fault in faults)
    return foods[0]


def _read(package: Package) -> dict[str, Printed]:
    """Every figure of the label, with its interval."""
    rules = LABEL_ROUNDING[package.label]
    other = LABEL_ROUNDING["us" if package.label == "eu" else "eu"]  # of salt on a US label, of sodium on an EU one
    faults: list[Fault] = []
    read: dict[str, Printed] = {}
    for name, text in package.figures.items():
        kind = name if name in OWN_RULES else "grams"
        one = printed(text, rules.get(kind) or other[kind])
        if one is None:
            faults.append(Fault(f"--{name}", "", shown(text),
                                'expected a figure as printed: 15, 0, "< 0.5", "less than 1"'))
        else:
            read[name] = one
    faults += [Fault(f"--{name}", "", "", "expected: no ratio can be stated without it") for name in NEEDED
               if name not in package.figures]
    if "salt" in read and "sodium" in read:
        faults.append(Fault("--salt", "", package.figures["salt"], "expected salt or sodium, not both"))
    if not package.name.strip():
        faults.append(Fault("NAME", "", "''", "expected the name of the food"))
    collected(faults)
    return read


def _contradictions(package: Package, read: Mapping[str, Printed]) -> None:
    """Parts above their whole, more than the serving weighs, energy that the figures cannot give: beyond rounding."""
    ends = _with_nothing(read)
    faults = [Fault(f"--{part}", "", package.figures[part], f"expected at most the {whole}, {package.figures[whole]}")
              for part, whole in PART_AND_WHOLE[package.label] if ends[part].low > ends[whole].high]
    weight = sum((ends[name].low for name in WEIGH_TOGETHER[package.label]), ZERO)
    if weight > package.per:
        faults.append(Fault("--per", "", f"{float(package.per):g} g",
                            f"expected at least the {float(weight):g} g that fat, carbohydrate and protein weigh"))
    if "energy" in read:
        least, most = energy_range(package, read)
        if read["energy"].low > most or read["energy"].high < least:
            span = f"{_decimal(least, ROUND_FLOOR, '0.1')} to {_decimal(most, ROUND_CEILING, '0.1')} kcal"
            in_kj = read["energy"].low / KJ <= most and read["energy"].high / KJ >= least
            guess = "; is it in kJ? the label has kcal beside them" if in_kj else ""
            faults.append(Fault("--energy", "", f"{package.figures['energy']} kcal",
                                f"expected {span}: what the other figures give, within their rounding{guess}"))
    collected(faults)


def _with_nothing(read: Mapping[str, Printed]) -> Mapping[str, Printed]:
    """The figures of a label, with nothing of what it does not state."""
    return defaultdict(lambda: Printed(None, ZERO, ZERO), read)


def energy_range(package: Package, read: Mapping[str, Printed]) -> tuple[Fraction, Fraction]:
    """The least and the most energy, kcal, that the other figures can give.

    Fat 9, protein and carbohydrate 4, fibre 0 to 2, polyols 0 to 2.4, alcohol 7 (Annex XIV; the US factors are those,
    fibre none or as carbohydrate). An EU label need not state fibre, and then what is left may be fibre.
    """
    ends = _with_nothing(read)
    fat, carbs, protein, fibre, alcohol = (ends[name] for name in ("fat", "carbs", "protein", "fibre", "alcohol"))
    sweet = sum((ends[key].high for key in BY_KEY if key != "imo"), ZERO)
    left = max(ZERO, carbs.low - sweet - (fibre.high if package.label == "us" else ZERO))
    least = FAT_KCAL * fat.low + PROTEIN_KCAL * protein.low + CARBOHYDRATE_KCAL * left + ALCOHOL_KCAL * alcohol.low
    most = (FAT_KCAL * fat.high + PROTEIN_KCAL * protein.high + CARBOHYDRATE_KCAL * carbs.high
            + ALCOHOL_KCAL * alcohol.high)
    if package.label == "eu":
        rest = package.per - fat.low - carbs.low - protein.low - alcohol.low
        most += FIBRE_KCAL * (fibre.high if "fibre" in read else max(ZERO, rest))
    return least * LEAST_ENERGY[package.label], most


def _figures(package: Package, read: Mapping[str, Printed]) -> dict[str, Fraction]:
    """Of each the figure printed, per serving; of 0 and "less than" the end that is safe, if there is room for it."""
    found = {name: one.figure or (one.high if name in AGAINST else one.low) for name, one in read.items()}
    weighed = [name for name in WEIGH_TOGETHER[package.label] if name in read]
    for name in ("alcohol", "protein", "carbs", "fat", "fibre"):
        over = sum((found[one] for one in weighed), ZERO) - package.per
        if name in weighed and over > 0:
            found[name] = max(read[name].low, found[name] - over)
    for part, whole in PART_AND_WHOLE[package.label]:
        if part in found:
            found[part] = min(found[part], found[whole])
    return found


def _decimal(value: Fraction, rounding: str, places: str = "0.0001") -> str:
    text = (Decimal(value.numerator) / Decimal(value.denominator)).quantize(Decimal(places), rounding)
    return format(text.normalize(), "f")
