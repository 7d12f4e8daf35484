"""A prescription: the arithmetic, the day and each meal; text, JSON and CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from ratio_solver.day.prescription.compute import kcal_of
from ratio_solver.dish.cautions import PRESCRIBERS, in_a_cell
from ratio_solver.exact import ONE, exact
from ratio_solver.foods.content import FAT_KCAL, PROTEIN_KCAL
from ratio_solver.foods.nutrients import spoken, unit_of
from ratio_solver.foods.policy import percent
from ratio_solver.foods.quantities import quantity_of
from ratio_solver.output.blocks import BAD, QUIET, STRONG, Block, Cell, Text, caution_lines, section, table_of
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, in_unit, plain, short, with_unit

if TYPE_CHECKING:
    from ratio_solver.day.people import Person
    from ratio_solver.day.prescription.compute import Macros, Prescribed, Prescription

PRESCRIPTION_COLUMNS = ("person", "meal", "share", "reckoned", "energy_kcal", "fat_g", "protein_g", "carbs_g",
                        "protein_and_carbs_g", "fat_kcal", "protein_kcal", "carbs_kcal", "carbs", "notes", "caution")
EXACT, IN_UNITS = "exact", "whole units"


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

