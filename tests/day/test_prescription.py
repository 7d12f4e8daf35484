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


def test_grams_that_pass_another_figure_are_told() -> None:
    """1224 kcal at 3:1 with 18 g of protein are 1224 / 31 - 18 = 21.48 g of net carbs: not 5 at most."""
    asked = (Target("ratio", 3.0), Target("protein_g", 18.0))
    found = prescription([Person("A", (*asked, Target("net_carbs_g", None, 5.0)), energy=1224.0)])
    assert found.outcome == "prescribed"
    [note] = found.people[0].notes
    assert note.startswith("21.48 g of net carbs pass the 5 g of net carbs prescribed at most")
    assert "Note: 21.48 g of net carbs pass" in found.report()
    assert found.to_dict()["people"][0]["notes"] == [note]
    assert all(row["notes"] == note for row in found.rows())
    for column, low, high, notes in (("net_carbs_g", None, 21.5, 0), ("carbs_g", None, 20.0, 1),
                                     ("fat_g", 119.0, None, 1), ("fat_g", None, 118.0, 1), ("fat_g", 118.0, 119.0, 0)):
        [one] = prescription([Person("A", (*asked, Target(column, low, high)), energy=1224.0)]).people
        assert len(one.notes) == notes, (column, low, high)


@pytest.mark.parametrize(("targets", "formula", "strong"), [
    ((Target("energy_from_fat", 0.9),), "net", True),
    ((Target("energy_from_fat", 0.87),), "net", False),  # 27 / 31 = 0.8710 is 3:1 at 9, 4 and 4 kcal
    ((Target("ratio", 2.6328), Target("protein_g", 18.0)), "ketogenic-quotient", True),  # 39, 6 and 7 g: 3:1
    ((Target("ratio", 2.5), Target("protein_g", 18.0)), "ketogenic-quotient", False),
    ((Target("ratio", 2.5),), "ketogenic-quotient", True),  # of fat and carbs alone 3.84:1
    ((Target("ratio", 2.0),), "ketogenic-quotient", False),
    ((Target("ratio", 2.99),), "net", False),
])
def test_what_comes_to_the_ratio_of_therapy_has_its_caution(targets: tuple[Target, ...], formula: str, strong: bool
                                                            ) -> None:
    """The strong caution goes by grams of fat to protein and carbs, in whatever way they are prescribed."""
    found = prescription([Person("A", targets, energy=1224.0, policy=Policy(ratio_formula=formula))])
    assert ("At 3:1 and above" in found.report()) is strong


def test_whole_units_without_room_for_the_protein_are_not_offered() -> None:
    """1250 kcal at 3:1 are 40.32 units, of which 40.2 g of protein leave 0.12 g; 40 whole ones leave less than none."""
    [one] = prescription([Person("A", (Target("ratio", 3.0), Target("protein_g", 40.2)), energy=1250.0)]).people
    assert one.day.carbs > 0 and not one.faults and one.whole is None and one.whole_units is None
