"""Net carbs and energy by substance, against published factors and sums made by hand."""

from __future__ import annotations

from fractions import Fraction as F
from itertools import product
from pathlib import Path

import pytest

from ratio_solver import BadInput, FoodTable, load_foods
from ratio_solver.foods.content import content, energy_by_factors, medium_chain
from ratio_solver.foods.food import Food
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.substances import COLUMNS, SUBSTANCES
from tests.foods.test_labels import label_content
from tests.kitchen import food, table


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


def energy(one: Food | None, by: str, **more: object) -> F | None:
    assert one is not None
    return content(one, "energy_kcal", Policy(energy=by, **more))  # type: ignore[arg-type]


def net(one: Food | None, **left_out: float) -> F | None:
    assert one is not None
    return content(one, "net_carbs_g", Policy(left_out=dict(Policy().left_out) | left_out))


# kcal per 100 g of the pure substance. EU: Regulation (EU) 1169/2011, Annex XIV (read): polyols 2.4, erythritol 0,
# carbohydrate 4. US: label rules (read) for xylitol to lactitol; erythritol 0, glycerol 4.32 and tagatose 1.5 from
# memory; allulose 0.4, FDA guidance (quoted). MCT oil: fat, 9.
@pytest.mark.parametrize(("name", "eu", "us"), [
    ("erythritol", "0", "0"), ("xylitol", "240", "240"), ("maltitol", "240", "210"), ("sorbitol", "240", "260"),
    ("mannitol", "240", "160"), ("isomalt", "240", "200"), ("lactitol", "240", "200"), ("glycerol", "240", "432"),
    ("allulose", "400", "40"), ("tagatose", "400", "150"), ("isomaltulose", "400", "400"), ("MCT oil", "900", "900"),
    ("isomalto-oligosaccharides (IMO), powder", "380", "380"), ("sugar, white", "399.92", "399.92"),
])
def test_energy_of_pure_substances(name: str, eu: str, us: str, foods: FoodTable) -> None:
    assert energy(foods.get(name), "annex-xiv") == F(eu)
    assert energy(foods.get(name), "us") == F(us)


@pytest.mark.parametrize("name", ["xylitol", "maltitol", "sorbitol", "mannitol", "isomalt", "lactitol"])
def test_every_polyol_counts_unless_it_is_named(name: str, foods: FoodTable) -> None:
    one = foods.get(name)
    assert net(one) == 100
    assert net(one, **{name: 0.5}) == 50
    assert net(one, polyols=0.25) == 75, "of a kind that is not named"
    assert net(one, polyols=0.25, **{name: 1.0}) == 0
    assert net(one, polyols=1.0, **{name: 0.0}) == 100
    assert energy(one, "9/4/4") == 400
    assert energy(one, "9/4/4", left_out={name: 0.5}) == 200


@pytest.mark.parametrize("name", ["glycerol", "tagatose", "isomaltulose"])
def test_what_is_no_polyol_to_the_body_never_goes_with_them(name: str, foods: FoodTable) -> None:
    one = foods.get(name)
    assert net(one) == net(one, polyols=1.0) == 100
    assert net(one, **{name: 0.75}) == 25


def test_by_default_only_erythritol_and_allulose_are_left_out(foods: FoodTable) -> None:
    left = {one.name for one in foods if set(one.amounts) & set(COLUMNS)
            and net(one) != (content(one, "carbs_g", Policy()) or 0) - (one.at("fibre_g") or 0)}
    assert left == {"erythritol", "allulose"}


def test_isomalto_oligosaccharides_are_carbohydrate(foods: FoodTable) -> None:
    for form, carbs in (("powder", 95), ("syrup", 75)):
        one = foods.get(f"isomalto-oligosaccharides (IMO), {form}")
        assert one is not None and net(one) == carbs and one.amounts["fibre_g"] == 0


@pytest.mark.parametrize(("basis", "carbs"), [("by_difference", 95), ("available", 5)])
def test_isomalto_oligosaccharides_as_fibre_are_a_fault(basis: str, carbs: float, tmp_path: Path) -> None:
    """As a label may have it: 90 g of "fibre" that is digested."""
    with pytest.raises(BadInput, match=r"imo_g: got '90'; expected at most 5, .*counts as carbohydrate, not as fibre"):
        table(tmp_path, food("bar", 5, 0, carbs, 90, basis, imo_g=90))


@pytest.mark.parametrize(("parts", "column", "most"), [
    ({"polyols_g": 41}, "polyols_g", 40), ({"tagatose_g": 41}, "tagatose_g", 40), ({"xylitol_g": 41}, "xylitol_g", 40),
    ({"polyols_g": 20, "maltitol_g": 21}, "maltitol_g", 20),
    ({"polyols_g": 20, "maltitol_g": 12, "glycerol_g": 8.6}, "maltitol_g", 20),
    ({"polyols_g": 30, "imo_g": 10.6}, "polyols_g", 40), ({"xylitol_g": 30, "isomaltulose_g": 10.6}, "xylitol_g", 40),
])
def test_parts_exceed_their_whole(parts: dict[str, float], column: str, most: int, tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        table(tmp_path, food("bar", 5, 5, 50, 10, **parts))
    [fault] = caught.value.faults
    assert fault.place == f"line 2, {column}" and f"at most {most}" in fault.expected


def test_parts_may_exceed_their_whole_by_rounding(tmp_path: Path) -> None:
    [one] = table(tmp_path, food("bar", 5, 5, 50, 10, polyols_g=30.2, maltitol_g=15.3, glycerol_g=15.1, imo_g=10))
    assert net(one, polyols=1.0, imo=1.0) == 40 - F("15.3") - 10, "glycerol stays"


def test_kinds_are_at_least_what_polyols_are(tmp_path: Path) -> None:
    """Without a figure for all polyols together those of the kinds count; it may be left blank."""
    [one] = table(tmp_path, food("bar", 5, 5, 60, 10, xylitol_g=20, glycerol_g=10))
    assert net(one, polyols=0.5) == 50 - 10
    assert label_content(one, "polyols_g") == 30
    assert energy_by_factors(one) == 45 + 20 + 20 + 4 * 20 + F("2.4") * 30


def test_a_kind_that_nobody_has_told_is_not_known(tmp_path: Path) -> None:
    some, told, all_ = table(
        tmp_path, food("some", 5, 5, 50, 0, polyols_g=20), food("told", 5, 5, 50, 0, polyols_g=20, xylitol_g=0),
        food("all", 5, 5, 50, 0, polyols_g=20, maltitol_g=20))
    assert [content(one, "xylitol_g", Policy()) for one in (some, told, all_)] == [None, 0, 0]
    assert [net(one, xylitol=1.0) for one in (some, told, all_)] == [50, 50, 50]


# --- energy -------------------------------------------------------------------------------------------


def test_energy_by_annex_xiv_is_that_of_the_label(foods: FoodTable) -> None:
    """Two ways through the code: the label's own sum, with nitrogen times 6.25, and that of the policy, without."""
    both = [(label_content(one, "eu_energy_kcal"), energy(one, "annex-xiv"), label_content(one, "eu_protein_g"),
             one.amounts["protein_g"]) for one in foods]
    known = [(label - 4 * nitrogen, mine - 4 * F(str(protein))) for label, mine, nitrogen, protein in both
             if label is not None and nitrogen is not None]
    assert len(known) > 900 and all(label == mine for label, mine in known)


def test_sums_by_hand(tmp_path: Path) -> None:
    """30 fat, 10 protein, 50 carbs of which 20 fibre (12 insoluble), 6 maltitol, 5 other polyols, 4 allulose."""
    row = {"polyols_g": 11, "maltitol_g": 6, "allulose_g": 4, "alcohol_g": 1, "mct_g": 10}
    whole = row | {"soluble_fibre_g": 8, "insoluble_fibre_g": 12}
    inside, outside, untold, soluble = table(
        tmp_path, food("inside", 30, 10, 50, 20, **whole), food("outside", 30, 10, 30, 20, "available", **whole),
        food("untold", 30, 10, 50, 20, **row), food("soluble", 30, 10, 50, 20, **row, soluble_fibre_g=8))
    plain, digested = 9 * 30 + 4 * 10 + 7 * 1, 4 * (50 - 20 - 11 - 4)
    for one in (inside, outside):
        assert energy(one, "annex-xiv") == plain + digested + F("2.4") * 11 + 4 * 4 + 2 * 20
        assert energy(one, "us") == plain + digested + F("2.1") * 6 + F("2.4") * 5 + F("0.4") * 4 + 2 * 8
        assert energy(one, "table") == plain + digested + F("2.4") * 11 + F("0.4") * 4 + 2 * 20, "allulose as in the US"
        assert energy(one, "9/4/4") == plain + 4 * (50 - 20 - 4), "fibre and what is left out bring nothing"
        assert energy(one, "9/4/4", left_out={"polyols": 1.0}) == plain + 4 * (50 - 20 - 11)
        assert energy(one, "9/4/4", mct_energy=8.3) == plain + 4 * (50 - 20 - 4) - F("0.7") * 10
    assert energy(untold, "us") == energy(inside, "us") + 2 * 12, "fibre of a kind not told counts 2"
    assert energy(soluble, "us") == energy(inside, "us"), "what is not soluble is insoluble"


def test_the_table_s_own_energy_stands_unless_another_is_asked_for(tmp_path: Path) -> None:
    [one] = table(tmp_path, food("oil", 100, energy_kcal=884, mct_g=50))
    assert energy(one, "table") == energy(one, "table", mct_energy=8.3) == 884
    assert energy(one, "annex-xiv") == 900 and energy(one, "annex-xiv", mct_energy=8.3) == 865


def test_medium_chain_fat(foods: FoodTable, tmp_path: Path) -> None:
    """As tabled, else 8:0 and 10:0; MCT oil 8.3 kcal/g where asked, 9 otherwise (common practice, no source)."""
    oil = foods.get("MCT oil")
    assert energy(oil, "table") == 900 and energy(oil, "table", mct_energy=8.3) == 830
    acids, own, more = table(
        tmp_path, food("coconut", 100, caprylic_g=7, capric_g=5), food("own", 100, mct_g=20, caprylic_g=7, capric_g=5),
        food("more", 10, mct_g=20, caprylic_g="", capric_g=""))
    assert [medium_chain(one) for one in (acids, own, more)] == [12, 20, 10]
    assert energy(acids, "us", mct_energy=8.3) == 900 - F("0.7") * 12


@pytest.mark.parametrize("by", ["table", "annex-xiv", "us", "9/4/4"])
def test_energy_lies_between_its_ends(by: str, tmp_path: Path) -> None:
    """Every corner of the intervals of the parts, each reckoned as a food of its own."""
    ends = {"carbs_g": (48, 52), "fibre_g": (9, 11), "polyols_g": (19, 21), "sorbitol_g": (6, 8), "maltitol_g": (4, 6),
            "allulose_g": (3, 5), "mct_g": (2, 4)}
    cells = {column: sum(pair) / 2 for column, pair in ends.items()}
    bounds = {f"{column}_{end}": pair[end == "high"] for column, pair in ends.items() for end in ("low", "high")}
    policy = Policy(left_out={"erythritol": 1.0, "polyols": 0.5, "sorbitol": 0.25, "maltitol": 0.75}, energy=by,
                    mct_energy=8.3)
    [one] = table(tmp_path, food("bar", 20, 10, **cells | bounds))  # type: ignore[arg-type]
    for column in ("net_carbs_g", "energy_kcal"):
        low, middle, high = (content(one, column, policy, end) for end in ("low", "", "high"))
        corners = [content(Food("c", "c", "by_difference", {"fat_g": 20.0, "protein_g": 10.0} | dict(
            zip(ends, map(float, corner), strict=True))), column, policy) for corner in product(*ends.values())]
        assert low == min(corners) < middle < max(corners) == high, column  # type: ignore[type-var]


def test_the_readme_has_every_substance_and_its_factor() -> None:
    text = (Path(__file__).resolve().parents[2] / "data" / "README.md").read_text(encoding="utf-8")
    row = next(line for line in text.splitlines() if line.startswith("| `us` |"))
    for substance in SUBSTANCES:
        assert f"`{substance.key}`" in text, substance.key
        if substance.us not in (substance.eu, 4) or substance.key in ("xylitol", "erythritol"):
            assert f"{substance.key} {float(substance.us):g}" in row, substance.key


def test_every_substance_says_where_its_factors_are_from() -> None:
    assert all(substance.source for substance in SUBSTANCES)
    assert len({substance.key for substance in SUBSTANCES}) == len(SUBSTANCES)
