"""People and what is prescribed to them, from the tables of a file.

A figure of a person is a target of the day, read as a target of a serving is. An energy that is one number is met
within a share of it; every other figure stands as it is written. The meals have shares of the day in any unit.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property

from ratio_solver.exact import ONE, ZERO, exact
from ratio_solver.foods.nutrients import CARBS, ENERGY, FAT, NET_CARBS, PROTEIN
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.quantities import RATIOS
from ratio_solver.foods.sizes import LARGEST
from ratio_solver.recipe.model import RATIO, Target
from ratio_solver.recipe.reader import Reader
from ratio_solver.recipe.targets import read_targets

WITHIN = 0.05
"""Share around an energy and around each meal, where the file says none; our choice."""

SPLIT = (ENERGY, FAT, PROTEIN, CARBS, NET_CARBS)
"""What a prescription divides among the meals; every other nutrient is held over the day alone."""

OWN_KEYS = ("name", "within", "meals", "ratio_formula", "weight_kg", "energy_per_kg", "protein_per_kg")
HEAVIEST_PERSON, MOST_PER_KG = 400.0, 1000.0
MOST_PEOPLE = 2000


@dataclass(frozen=True)
class Person:
    """Somebody and what is prescribed to them for a day.

    Attributes
    ----------
    name : str
    targets : tuple of Target
        As written, for a day; an energy that is one number is not among them.
    energy : float or None
        kcal a day, to be met within a share of it.
    within : float
        Share around the energy, and around each meal's share of every figure.
    shares : mapping of str to float
        Meals to their shares of the day, in any unit; empty where the file says none: then they are equal.
    policy : Policy
        By which the figures are reckoned.
    weight : float or None
        Body weight, kg, where figures are prescribed per kg.
    per_kg : mapping of str to float
        Nutrient column to what is prescribed per kg of body weight.
    """

    name: str
    targets: tuple[Target, ...] = ()
    energy: float | None = None
    within: float = WITHIN
    shares: Mapping[str, float] = field(default_factory=dict)
    policy: Policy = field(default_factory=Policy)
    weight: float | None = None
    per_kg: Mapping[str, float] = field(default_factory=dict)

    def target(self, nutrient: str) -> Target | None:
        """The target on a nutrient column or on the ratio, if there is one."""
        return next((target for target in self.targets if target.nutrient == nutrient), None)

    def least(self, nutrient: str) -> Fraction | None:
        """The least of a nutrient column, a day, or the least ratio; None where none is prescribed."""
        target = self.target(nutrient)
        return None if target is None or target.minimum is None else exact(target.minimum)

    @property
    def ratio(self) -> Fraction | None:
        """The least ratio."""
        return self.least(RATIO)

    @property
    def protein(self) -> Fraction | None:
        """The least protein, g a day."""
        return self.least(PROTEIN)

    @cached_property
    def held(self) -> tuple[Target, ...]:
        """The targets of the day with the energy as a band."""
        if self.energy is None:
            return self.targets
        whole, off = exact(self.energy), exact(self.within)
        return (*self.targets, Target(ENERGY, float(whole * (ONE - off)), float(whole * (ONE + off))))

    @cached_property
    def usual_energy(self) -> Fraction | None:
        """The energy to begin from, kcal a day: the number, the middle of a band, or the one end that there is."""
        if self.energy is not None:
            return exact(self.energy)
        band = self.target(ENERGY)
        ends = [exact(end) for end in ((band.minimum, band.maximum) if band else ()) if end is not None]
        return sum(ends, ZERO) / len(ends) if ends else None

    @property
    def alike(self) -> tuple[object, ...]:
        """What is the same of people to whom the same is prescribed."""
        return (self.targets, self.energy, self.within, tuple(sorted(self.shares.items())), self.policy.key)

    def share_of(self, meal: str, meals: Sequence[str]) -> Fraction:
        """A meal's share of the day, of somebody who eats these meals; equal where nothing is said."""
        if not self.shares:
            return Fraction(1, len(meals))
        return exact(self.shares.get(meal, 0.0)) / sum(map(exact, self.shares.values()), ZERO)


def read_people(top: Reader, columns: Sequence[str], policy: Policy) -> tuple[Person, ...]:
    """The people of a file.

    Parameters
    ----------
    top : Reader
        Of the table that has the key `people`.
    columns : sequence of str
        Nutrients that may be named.
    policy : Policy
        By which figures are reckoned unless a person has another formula of the ratio.
    """
    found: dict[str, Person] = {}
    written = top.table.get("people", ())
    if isinstance(written, list | tuple) and len(written) > MOST_PEOPLE:
        top.fault("people", f"{len(written):,} of them", f"expected at most {MOST_PEOPLE:,}")
        return ()
    for reader in top.each("people"):
        person = _person(reader, columns, policy)
        if person.name.lower() in found:
            reader.fault("name", person.name, "expected each name once")
        found[person.name.lower()] = person
    if not found and not top.faults:
        top.fault("people", None, "expected at least one [[people]]")
    return tuple(found.values())


def _person(reader: Reader, columns: Sequence[str], policy: Policy) -> Person:
    reader.required("name", "expected what the person is called")
    name = reader.text("name") or reader.place
    formula = reader.one_of("ratio_formula", tuple(RATIOS))
    within = reader.number("within", 0.0, 0.5, "a share from 0 to 0.5, 0.05 for 5 %")
    weight = reader.number("weight_kg", 0.0, HEAVIEST_PERSON, "a body weight in kg", above=True)
    energy, written = _one_energy(reader), dict(reader.table)
    per_kg = {}
    for column, key, unit in ((ENERGY, "energy_per_kg", "kcal"), (PROTEIN, "protein_per_kg", "g")):
        amount = reader.number(key, 0.0, MOST_PER_KG, f"{unit} per kg of body weight", above=True)
        plain = key.removesuffix("_per_kg")
        if amount is None:
            continue
        if plain in written:
            reader.fault(key, amount, f"expected {plain} or {key}, not both")
        if weight is None:
            reader.fault("weight_kg", None, f"expected with {key}: the body weight in kg")
        else:
            per_kg[column] = amount
            written[plain] = float(exact(amount) * exact(weight))
    if ENERGY in per_kg:
        energy = float(written["energy"])  # type: ignore[arg-type]
    shares = _shares(reader)
    return Person(name, _day_figures(reader, written, columns), energy, WITHIN if within is None else within, shares,
                  policy if formula is None else replace(policy, ratio_formula=formula), weight, per_kg)


def _one_energy(reader: Reader) -> float | None:
    """The energy where it is one number."""
    value = reader.table.get("energy")
    if isinstance(value, Mapping | str):
        return None
    return reader.number("energy", 0.0, LARGEST, "kcal a day", above=True)


def _day_figures(reader: Reader, written: Mapping[str, object], columns: Sequence[str]) -> tuple[Target, ...]:
    """The figures of a day, read as targets are; of protein one number is the least."""
    asked: dict[str, object] = {}
    for key, value in written.items():
        if key in OWN_KEYS or (key == "energy" and not isinstance(value, Mapping | str)):
            continue
        number = isinstance(value, int | float) and not isinstance(value, bool)
        asked[key] = {"min": value} if key == "protein" and number else value
    return read_targets(Reader(reader.source, reader.faults, reader.place, asked), columns)


def _shares(reader: Reader) -> dict[str, float]:
    inner = reader.inner("meals")
    if inner is None:
        return {}
    shares = {meal: inner.number(meal, 0.0, LARGEST, "a meal's share of the day, in any unit")
              for meal in inner.table}
    found = {meal: share for meal, share in shares.items() if share is not None}
    if not math.fsum(found.values()) and not reader.faults:
        reader.fault("meals", None, "expected a share above 0")
    return found
