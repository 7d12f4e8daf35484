"""Prescriptions against published ones, and what a file of people may say."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, Person, Policy, Target, load_foods, people_of, prescription
from ratio_solver.cli import main

THREE = {"breakfast": 1.0, "lunch": 1.0, "dinner": 1.0}


def test_the_published_prescription_of_1200_kcal_at_4_to_1() -> None:
    """Manual of Clinical Nutrition Management, Compass Group 2013, E-15 and E-16: grams to 0.1 g."""
    person = Person("A", (Target("ratio", 4.0), Target("protein_g", 18.5)), energy=1200.0, shares=THREE)
    [one] = prescription([person]).people
    assert (one.unit_energy, one.units, one.whole_units) == (40, 30, 30)
    assert (one.day.fat, one.day.protein, one.day.carbs) == (120, Fraction("18.5"), Fraction("11.5"))
    for _, share in one.meals:
        meal = one.day.times(share)
        assert [round(float(grams), 1) for grams in (meal.fat, meal.protein, meal.carbs)] == [40.0, 6.2, 3.8]


def test_the_published_sample_calculation_for_a_child_of_18_kg(tmp_path: Path) -> None:
    """ISRN Pediatrics 2012, article 263139, table 2: whole dietary units, and grams that follow from these."""
    path = tmp_path / "people.toml"
    path.write_text("""[[people]]
name = "child"
weight_kg = 18
energy_per_kg = 68
protein_per_kg = 1
ratio = 3
meals = {breakfast = 1, lunch = 1, dinner = 1}
""")
    [one] = prescription(people_of(path, load_foods())).people
    assert one.person.energy == 1224 and one.whole_units == 39
    assert one.units == Fraction(1224, 31)
    whole = one.whole
    assert (whole.fat, whole.rest, whole.protein, whole.carbs) == (117, 39, 18, 21)
    for _, share in one.meals:
        meal = whole.times(share)
        assert (meal.fat, meal.protein, meal.carbs) == (39, 6, 7)
    assert round(float(one.day.fat), 2) == 118.45  # what the energy is exactly: the rounding costs 1.45 g of fat
    told = prescription(people_of(path, load_foods())).report()
    assert "18 kg x 68 kcal per kg = 1224 kcal" in told and "39.48" in told and "only computes" in told
    assert "At 3:1 and above only under a physician" in told


def test_a_ketogenic_quotient_keeps_both_equations() -> None:
    """Woodyatt 1921 (Arch Intern Med 28:125): K = 0.90 fat + 0.46 protein, A = carbs + 0.58 protein + 0.10 fat."""
    person = Person("A", (Target("ratio", 1.5), Target("protein_g", 50.0)), energy=1800.0,
                    policy=Policy(ratio_formula="ketogenic-quotient"))
    day = prescription([person]).people[0].day
    assert 9 * day.fat + 4 * day.protein + 4 * day.carbs == 1800
    keto = Fraction("0.9") * day.fat + Fraction("0.46") * day.protein
    assert keto == Fraction(3, 2) * (day.carbs + Fraction("0.58") * day.protein + Fraction("0.1") * day.fat)


def test_protein_above_what_the_ratio_leaves_is_impossible(tmp_path: Path) -> None:
    path = tmp_path / "people.toml"
    path.write_text('[[people]]\nname = "A"\nenergy = 1000\nratio = 4\nprotein = 30\n')
    ran = CliRunner().invoke(main, ["prescription", str(path), "--format", "json"])
    assert ran.exit_code == 3
    told = json.loads(ran.output)
    assert told["outcome"] == "impossible" and "30 g of protein" in told["people"][0]["faults"][0]
    assert any("made by those who prescribe" in caution for caution in told["cautions"])


def test_faults_of_people_are_told_at_once_with_their_lines(tmp_path: Path) -> None:
    path = tmp_path / "people.toml"
    path.write_text("""[[people]]
name = "A"
energy = "much"
ratio = 0
[[people]]
name = "a"
protien = 40
within = 2
energy_per_kg = 20
meals = {lunch = -1}
""")
    with pytest.raises(BadInput) as bad:
        people_of(path, load_foods())
    told = [str(fault) for fault in bad.value.faults]
    for place, line in (("people[1].energy", 3), ("people[1].ratio", 4), ("people[2].name", 6),
                        ("people[2].protien", 7), ("people[2].within", 8), ("people[2].meals.lunch", 10),
                        ("people[2].weight_kg", 5)):
        assert any(f"people.toml:{line}: {place}" in one for one in told), (place, told)
    assert any("did you mean" in one for one in told if "protien" in one)
