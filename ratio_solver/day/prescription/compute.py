"""Grams of fat, protein and carbohydrate that a prescribed energy and ratio come to, for the day and for each meal.

A dietary unit at R:1 is R g of fat and 1 g of protein and carbohydrate together, so that

    kcal of a unit = 9 R + 4,   units = energy / kcal of a unit,   fat = R units,   protein + carbs = units,
    carbs = units - protein,

with 9 kcal per g of fat and 4 of protein and of carbohydrate, as clinics reckon (Zupec-Kania BA, Spellman E, Nutrition
in Clinical Practice 2008;23:589-596; from memory). Of the ketogenic quotient of Woodyatt (1921) there is no such unit:
there the two equations, of the energy and of the quotient, are solved for fat and carbohydrate.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.day.people import Person
from ratio_solver.dish.cautions import PRESCRIBERS, STRONG_CAUTION, STRONG_FROM, WHOLE, in_a_cell
from ratio_solver.exact import ONE, ZERO, exact
from ratio_solver.foods.content import FAT_KCAL, PROTEIN_KCAL
from ratio_solver.foods.nutrients import CARBS, FAT, NET_CARBS, PROTEIN, spoken, unit_of
from ratio_solver.foods.policy import percent
from ratio_solver.foods.quantities import RATIOS, quantity_of
from ratio_solver.outcome import Outcome
from ratio_solver.output.blocks import BAD, QUIET, STRONG, Block, Cell, Text, caution_lines, section, table_of
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, in_unit, plain, short, with_unit

PRESCRIPTION_COLUMNS = ("person", "meal", "share", "reckoned", "energy_kcal", "fat_g", "protein_g", "carbs_g",
                        "protein_and_carbs_g", "fat_kcal", "protein_kcal", "carbs_kcal", "carbs", "notes", "caution")
EXACT, IN_UNITS = "exact", "whole units"

NOT_TO_SERVE = ": the grams here are those of the least ratio and protein, and not what to serve"

STRONG_SHARE = FAT_KCAL * STRONG_FROM / (FAT_KCAL * STRONG_FROM + PROTEIN_KCAL)
"""The share of the energy that is from fat at the ratio of therapy: 27 / 31."""

STRONG_QUOTIENT = Fraction("0.90") * STRONG_FROM / (1 + Fraction("0.10") * STRONG_FROM)
"""The ketogenic quotient of fat and carbohydrate alone at the ratio of therapy: with protein it is higher."""


@dataclass(frozen=True)
class Macros:
    """Grams of a day or a meal.

    Attributes
    ----------
    fat : Fraction or None
    protein, carbs : Fraction or None
        None where only their sum is known, or nothing.
    rest : Fraction or None
        Protein and carbohydrate together.
    energy : Fraction or None
        kcal, at 9 per g of fat and 4 of the rest.
    """

    fat: Fraction | None
    protein: Fraction | None
    carbs: Fraction | None
    rest: Fraction | None
    energy: Fraction | None

    def times(self, share: Fraction) -> Macros:
        """A share of it."""
        return Macros(*(None if value is None else value * share
                        for value in (self.fat, self.protein, self.carbs, self.rest, self.energy)))


@dataclass(frozen=True)
class Prescribed:
    """What is prescribed to one person, in grams.

    Attributes
    ----------
    person : Person
    unit_energy, units : Fraction or None
        kcal of a dietary unit at the ratio, and how many of them the energy is; None where there is no ratio or no one
        energy, or the ratio is a quotient.
    day : Macros
    whole_units : int or None
        The nearest whole number of units.
    whole : Macros or None
        The day in whole units, as many clinics write it.
    meals : tuple of (str, Fraction)
        Meals and their shares of the day.
    faults : tuple of str
        What cannot be: protein alone is more than protein and carbohydrate may be, or carbs are fewer than asked for.
    notes : tuple of str
        Grams of the day that pass what is prescribed beside the energy and the ratio.
    """

    person: Person
    unit_energy: Fraction | None
    units: Fraction | None
    day: Macros
    whole_units: int | None
    whole: Macros | None
    meals: tuple[tuple[str, Fraction], ...]
    faults: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def carbs_column(self) -> str:
        """Which carbohydrate the formula of the ratio counts."""
        return _carbs_counted(self.person)


@dataclass(frozen=True, repr=False)
class Prescription(Outcome):
    """What is prescribed to people; its `outcome` is "prescribed", or "impossible" where figures exclude each other."""

    people: tuple[Prescribed, ...]
    cautions: tuple[str, ...]

    @property
    def outcome(self) -> str:
        """What came out, in a word."""
        return "impossible" if any(one.faults for one in self.people) else "prescribed"


def prescription(people: Sequence[Person]) -> Prescription:
    """Grams of fat, protein and carbohydrate a day and a meal from what is prescribed to people.

    Parameters
    ----------
    people : sequence of Person

    Returns
    -------
    Prescription

    Examples
    --------
    A prescription of 1,200 kcal at 4:1 with 18.5 g of protein:

    >>> from ratio_solver import Person, Target, prescription
    >>> person = Person("A", (Target("ratio", 4.0), Target("protein_g", 18.5)), energy=1200.0)
    >>> day = prescription([person]).people[0].day
    >>> [str(grams) for grams in (day.fat, day.protein, day.carbs)]
    ['120', '37/2', '23/2']
    """
    found = tuple(map(_prescribed, people))
    told = (PRESCRIBERS, *WHOLE, *([STRONG_CAUTION] if any(map(_is_therapy, found)) else []))
    return Prescription(found, told)


def _carbs_counted(person: Person) -> str:
    return CARBS if person.policy.ratio_formula == "total" else NET_CARBS


def _is_therapy(one: Prescribed) -> bool:
    """Whether what is prescribed may be 3:1 or more by grams: as a ratio, a quotient or a share of the energy."""
    person, day = one.person, one.day
    least = STRONG_QUOTIENT if person.policy.ratio_formula == "ketogenic-quotient" and day.fat is None else STRONG_FROM
    share = person.least("energy_from_fat")
    return (person.ratio is not None and person.ratio >= least) or (
        share is not None and share >= STRONG_SHARE) or (
        day.fat is not None and day.rest is not None and day.fat >= STRONG_FROM * day.rest)


def _prescribed(person: Person) -> Prescribed:
    ratio, energy = person.ratio, None if person.energy is None else exact(person.energy)
    protein = person.protein
    units = unit = whole_units = whole = None
    if ratio is None or energy is None:
        day = Macros(None, protein, None, None, energy)
    elif person.policy.ratio_formula == "ketogenic-quotient":
        day = _by_quotient(energy, ratio, protein)
    else:
        unit = FAT_KCAL * ratio + PROTEIN_KCAL
        units = energy / unit
        whole_units = round(units)
        day, whole = (_in_units(count, ratio, protein) for count in (units, Fraction(whole_units)))
        if whole.carbs is not None and whole.carbs < 0:
            whole_units = whole = None
    shares = [(meal, person.share_of(meal, ())) for meal in person.shares]
    return Prescribed(person, unit, units, day, whole_units, whole, tuple(shares), tuple(_faults(person, day)),
                      tuple(_not_to_serve(person, day)))


def _in_units(units: Fraction, ratio: Fraction, protein: Fraction | None) -> Macros:
    return Macros(units * ratio, protein, None if protein is None else units - protein, units,
                  units * (FAT_KCAL * ratio + PROTEIN_KCAL))


def _by_quotient(energy: Fraction, quotient: Fraction, protein: Fraction | None) -> Macros:
    """Fat and carbohydrate of an energy and a ketogenic quotient; only with a protein are they determined.

    With K = a_f fat + a_p protein and A = carbs + b_p protein + b_f fat of the formula, K = quotient A and
    9 fat + 4 protein + 4 carbs = energy.
    """
    if protein is None:
        return Macros(None, None, None, None, energy)
    quantity = RATIOS["ketogenic-quotient"]
    a_fat, a_protein, b_fat, b_protein = (Fraction(terms[column]) for terms in (quantity.above, quantity.below)
                                          for column in ("fat_g", "protein_g"))
    left = (energy - PROTEIN_KCAL * protein) / PROTEIN_KCAL
    fat = (quotient * left + (quotient * b_protein - a_protein) * protein) / (
        a_fat - quotient * b_fat + quotient * FAT_KCAL / PROTEIN_KCAL)
    carbs = left - fat * FAT_KCAL / PROTEIN_KCAL
    return Macros(fat, protein, carbs, protein + carbs, energy)


def _faults(person: Person, day: Macros) -> list[str]:
    """What of a prescription excludes the rest of it."""
    if day.carbs is None:
        return []
    if day.carbs < 0:
        return [f"{float(day.protein or ZERO):g} g of protein is more than the energy and the ratio leave for protein "
                f"and carbohydrate together, {float(day.rest or ZERO):.2f} g"]
    least = person.least(_carbs_counted(person))
    if least is not None and day.carbs < least:
        return [f"the energy, the ratio and the protein leave {float(day.carbs):.2f} g of carbohydrate, and "
                f"{float(least):g} g at least are asked for"]
    return []


def _not_to_serve(person: Person, day: Macros) -> Iterator[str]:
    """Grams that the energy, the least ratio and the least protein come to, and that another figure does not allow.

    They do not exclude each other, as a ratio and a protein are the least: more of either may keep the other figure.
    But whoever reads the grams as what to serve would break it.
    """
    total = _carbs_counted(person) == CARBS
    carbs = {CARBS: day.carbs} if total else {NET_CARBS: day.carbs, CARBS: day.carbs}
    for column, grams in ({FAT: day.fat, PROTEIN: day.protein} | carbs).items():
        target = person.target(column)
        if target is None or grams is None or grams < 0:
            continue
        least, most = target.minimum, target.maximum
        name = spoken(column if column != CARBS or total else NET_CARBS)
        if most is not None and grams > exact(most):
            yield (f"{float(grams):.2f} g of {name} pass the {most:g} g of {spoken(column)} prescribed at most"
                   f"{NOT_TO_SERVE}")
        if column == FAT and least is not None and grams < exact(least):
            yield f"{float(grams):.2f} g of {name} are under the {least:g} g prescribed at least{NOT_TO_SERVE}"


def kcal_of(macros: Macros) -> tuple[Fraction | None, Fraction | None, Fraction | None]:
    """Energy of fat, protein and carbohydrate, kcal."""
    factors = FAT_KCAL, PROTEIN_KCAL, PROTEIN_KCAL
    fat, protein, carbs = (None if grams is None else grams * factor for grams, factor in
                           zip((macros.fat, macros.protein, macros.carbs), factors, strict=True))
    return fat, protein, carbs


def text(found: Prescription) -> Block:
    """Each person's day and meals with the arithmetic."""
    return (*(_person_block(one) for one in found.people), Text(""), Text(PRESCRIBERS, STRONG),
            *caution_lines(found.cautions))


def _person_block(one: Prescribed) -> Block:
    person = one.person
    units = "" if one.units is None else f": {decimal(one.units, 2)} dietary units"
    tables = [_table(f"In grams{units}", one, one.day)]
    if one.whole is not None and one.whole != one.day:
        tables.append(_table(f"In whole dietary units, as many clinics write it: {one.whole_units}", one, one.whole))
    return (
        Text.assemble((person.name, STRONG), f"  {_in_one_line(person)}"),
        *(Text(f"Impossible: {fault}.", BAD) for fault in one.faults),
        *(Text(f"Note: {note}.", BAD) for note in one.notes),
        section("Arithmetic", table_of((("", "left"), ("", "left")), _arithmetic(one), header=False)),
        *tables, Text(""))


def _in_one_line(person: Person) -> str:
    """What is prescribed, in one line."""
    energy = [] if person.energy is None else [f"{short(Fraction(person.energy), 1)} kcal a day"]
    told = [f"{quantity_of(target.nutrient).words} {_ends_in_words(target.nutrient, target.minimum, target.maximum)}"
            for target in person.targets]
    return ", ".join([*energy, *told]) + person.policy.formula


def _ends_in_words(nutrient: str, low: float | None, high: float | None) -> str:
    unit = quantity_of(nutrient).unit
    told = [f"{word} {with_unit(f'{float(in_unit(exact(end), unit)):g}', unit)}"
            for word, end in (("at least", low), ("at most", high)) if end is not None]
    return ", ".join(told)


def _arithmetic(one: Prescribed) -> Iterator[Sequence[Cell]]:
    """Each figure and how it comes about."""
    person, day = one.person, one.day
    for column, per_kg in person.per_kg.items():
        unit = unit_of(column) or "g"
        yield (quantity_of(column).words, f"{short(Fraction(person.weight or 0.0), 3)} kg x {per_kg:g} {unit} per kg = "
                              f"{short(Fraction(per_kg) * Fraction(person.weight or 0.0), 2)} {unit}")
    carbs = spoken(one.carbs_column)
    if one.units is None or one.unit_energy is None or person.ratio is None:
        yield from _without_units(one)
        return
    ratio = short(person.ratio, 4)
    yield (f"a dietary unit at {ratio}:1",
           f"{ratio} g fat x {FAT_KCAL} + 1 g protein and carbs x {PROTEIN_KCAL} = {short(one.unit_energy, 4)} kcal")
    yield "dietary units", f"{short(day.energy, 2)} kcal / {short(one.unit_energy, 4)} kcal = {decimal(one.units, 2)}"
    yield "fat", f"{decimal(one.units, 2)} x {ratio} g = {decimal(day.fat or 0, 2)} g"
    yield "protein and carbs", f"{decimal(one.units, 2)} x 1 g = {decimal(one.units, 2)} g"
    if day.protein is None or day.carbs is None:
        yield "protein", "none is prescribed, so that what of the sum is carbs stays open"
    else:
        yield carbs, f"{decimal(one.units, 2)} g - {short(day.protein, 2)} g protein = {decimal(day.carbs, 2)} g"


def _without_units(one: Prescribed) -> Iterator[Sequence[Cell]]:
    day = one.day
    if day.fat is None or day.carbs is None:
        yield "grams", "take one energy a day (a number), a least ratio" + (
            " and a least protein" if one.person.policy.ratio_formula == "ketogenic-quotient" else "")
        return
    yield ("fat and carbs", f"of 9 fat + 4 protein + 4 carbs = {short(day.energy, 2)} kcal and the quotient "
                            f"{short(one.person.ratio, 4)}:1 with {short(day.protein, 2)} g protein")


def _table(heading: str, one: Prescribed, day: Macros) -> Block:
    columns = (("", "left"), ("share", "right"), ("kcal", "right"), ("fat g", "right"), ("protein g", "right"),
               (f"{spoken(one.carbs_column)} g", "right"), ("kcal of each", "right"))
    rows = [("day", ONE, day), *((meal, share, day.times(share)) for meal, share in one.meals)]
    return section(heading, table_of(columns, (_cells(*row) for row in rows)))


def _cells(name: str, share: Fraction, macros: Macros) -> tuple[Cell, ...]:
    kcal = [decimal(value, 0) for value in kcal_of(macros) if value is not None]
    known = ((macros.energy, 0), (macros.fat, 1), (macros.protein, 1), (macros.carbs, 1))
    return (Text(name, STRONG if share == 1 else ""), percent(round(share, 4)),
            *("" if value is None else decimal(value, decimals) for value, decimals in known),
            Text(" + ".join(kcal), QUIET))


def data(found: Prescription) -> Data:
    """The same in the keys of the command's JSON."""
    return {"outcome": found.outcome, "people": [_person_data(one) for one in found.people],
            "cautions": list(found.cautions)}


def _person_data(one: Prescribed) -> Data:
    person = one.person
    return {
        "name": person.name,
        "prescribed": {"energy_kcal": person.energy, "within": person.within, "weight_kg": person.weight,
                       "per_kg": dict(person.per_kg), "ratio_formula": person.policy.ratio_formula,
                       "targets": [{"nutrient": target.nutrient, "min": target.minimum, "max": target.maximum}
                                   for target in person.targets]},
        "unit_kcal": plain(one.unit_energy), "dietary_units": plain(one.units), "carbs": one.carbs_column,
        "day": _macros_data(one.day),
        "whole_units": None if one.whole is None else {"dietary_units": one.whole_units, **_macros_data(one.whole)},
        "meals": [{"meal": meal, "share": plain(share), **_macros_data(one.day.times(share)),
                   "whole_units": None if one.whole is None else _macros_data(one.whole.times(share))}
                  for meal, share in one.meals],
        "faults": list(one.faults),
        "notes": list(one.notes),
    }


def _macros_data(macros: Macros) -> Data:
    kcal = kcal_of(macros)
    return {
        "energy_kcal": plain(macros.energy), "fat_g": plain(macros.fat), "protein_g": plain(macros.protein),
        "carbs_g": plain(macros.carbs), "protein_and_carbs_g": plain(macros.rest),
        "fat_kcal": plain(kcal[0]), "protein_kcal": plain(kcal[1]), "carbs_kcal": plain(kcal[2]),
    }


def rows(found: Prescription) -> Rows:
    """A row for the day and for each meal of a person: exact, and in whole dietary units."""
    return PRESCRIPTION_COLUMNS, _macros_rows(found)


def _macros_rows(found: Prescription) -> Iterator[Data]:
    caution = f"{PRESCRIBERS} {in_a_cell(found.cautions)}"
    for one in found.people:
        notes = "; ".join((*one.faults, *one.notes))
        for reckoned, day in ((EXACT, one.day), (IN_UNITS, one.whole)):
            if day is None:
                continue
            for meal, share in (("day", ONE), *one.meals):
                yield {"person": one.person.name, "meal": meal, "share": plain(share), "reckoned": reckoned,
                       "carbs": one.carbs_column, "notes": notes, "caution": caution, **_macros_data(day.times(share))}
