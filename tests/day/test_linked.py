"""People whom a pot or the stock joins, taken apart: against the whole programme in exact arithmetic."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from ratio_solver import load_foods, read_days, solve_day
from ratio_solver.day import kitchen, linked, ways
from ratio_solver.day.ways import BlockWays, Combined, Way, combined
from ratio_solver.errors import NotProven
from ratio_solver.lp import search
from ratio_solver.lp.search import WholePoint
from ratio_solver.solving import within
from ratio_solver.solving.result import Diagnosis, Proposal
from ratio_solver.solving.within import weights_within
from tests.day.days import drawn_day
from tests.day.second_opinion import Kitchen

SEEDS = range(300, 324)
FEW = (3, 2, 3)
LINKED, LARGE, OPEN, SHORT = 305, 149, 87, (354, 355)
"""Days: with pots too small for what everyone would have alone, a large one where they do, one that is left open, and
some where the part of the pot that the linear programme gives to each is not the best on the steps."""


@pytest.mark.parametrize("exact", [True, False])
def test_taken_apart_no_one_is_better_off_and_the_bound_holds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                              exact: bool) -> None:
    seen: Counter[str] = Counter()
    for seed in SEEDS:
        drawn = drawn_day(seed, most=FEW)
        if not drawn.tags or drawn.people < 2:
            continue
        file, table = drawn.written_to(tmp_path)
        [day] = read_days(file, load_foods(table, bundled=False))
        with monkeypatch.context() as patched:
            patched.setattr(linked, "_suffice", lambda *_: False)  # as if nothing ever did: the whole at once
            whole = solve_day(day, exact=exact)
        monkeypatch.setattr(linked, "MOST_JOINED", 1)
        apart = solve_day(day, exact=exact)
        monkeypatch.undo()
        if apart.outcome == "undecided":
            seen["not found"] += 1
            continue
        assert apart.outcome == whole.outcome, seed
        if whole.outcome == "impossible":
            seen["impossible"] += 1
            continue
        assert apart.least <= whole.moved + exact and apart.moved >= whole.moved - exact, seed
        for pot in apart.pots:
            assert pot.left >= 0, seed
        for food, grams in apart.day.stock.values():
            beside = sum(had.grams for had in apart.had if had.name == food.name and had.beside)
            cooked = sum(pot.batches * sum(weight / exactly(item.yield_) for item, weight in
                                           zip(pot.pot.recipe.ingredients, pot.weights, strict=True)
                                           if item.food.id == food.id) for pot in apart.pots)
            assert beside + cooked <= grams + 1e-6 * exact, seed
        seen["proven" if apart.proven else "with a gap"] += 1
    print(dict(seen))
    assert seen["proven"] >= 3 and seen["not found"] <= 2


def test_the_time_limit_holds_for_the_portions_that_are_looked_for_again(tmp_path: Path,
                                                                         monkeypatch: pytest.MonkeyPatch) -> None:
    """Of dishes as they are, from which shares come, and of people within what pots and stock leave them."""
    asked: list[float | None] = []

    def noted(*args: Any, time_limit: float | None = None, **how: Any) -> Proposal | Diagnosis:
        asked.append(time_limit)
        return weights_within(*args, time_limit=time_limit, **how)

    monkeypatch.setattr(kitchen, "weights_within", noted)
    monkeypatch.setattr(linked, "MOST_JOINED", 1)
    for together, seed in ((False, LINKED), (True, 0)):
        file, table = drawn_day(seed, together=together, most=FEW).written_to(tmp_path)
        [day] = read_days(file, load_foods(table, bundled=False))
        solve_day(day, together=together, time_limit=77.0)
        assert asked and set(asked) == {77.0}
        asked.clear()


def test_where_all_at_once_nothing_is_found_everyone_is_given_a_part(tmp_path: Path,
                                                                    monkeypatch: pytest.MonkeyPatch) -> None:
    """Portions that keep the pots, with their gap, rather than none."""
    def in_parts_alone(*args: Any, reasons: bool = True, **how: Any) -> Proposal | Diagnosis:
        return Diagnosis((), undecided=True) if reasons else weights_within(*args, reasons=False, **how)

    monkeypatch.setattr(kitchen, "weights_within", in_parts_alone)
    drawn = drawn_day(LINKED, most=FEW)
    file, table = drawn.written_to(tmp_path)
    [day] = read_days(file, load_foods(table, bundled=False))
    found = solve_day(day, time_limit=10.0)
    least = Kitchen(drawn.day, drawn.recipes, drawn.rows, whole=True).solved().moved
    assert found.outcome == "solved" and all(pot.left >= 0 for pot in found.pots)
    assert float(found.least) <= least <= float(found.moved) and (found.moved == least) >= found.proven


def test_where_pots_suffice_as_it_comes_everyone_has_the_least_and_it_is_proven(tmp_path: Path) -> None:
    """A day of 58 weights, in all of which HiGHS finds no whole point in the time."""
    drawn = drawn_day(LARGE)
    file, table = drawn.written_to(tmp_path)
    [day] = read_days(file, load_foods(table, bundled=False))
    found = solve_day(day, time_limit=10.0)
    assert found.outcome == "solved" and found.proven
    assert abs(float(found.moved) - Kitchen(drawn.day, drawn.recipes, drawn.rows, whole=True).solved().moved) < 1e-6


def test_the_bound_of_priced_parts_closes_what_the_linear_programme_leaves_open(tmp_path: Path) -> None:
    """Pots that are too small: the programme says at least 2,029 g; there are portions with 2,029.5 g, and none better.

    SCIP has found none better in four minutes, nor shown that there is none.
    """
    file, table = drawn_day(OPEN).written_to(tmp_path)
    [day] = read_days(file, load_foods(table, bundled=False))
    found = solve_day(day, time_limit=10.0)
    assert found.least == Fraction("2029.5") <= found.moved
    assert all(pot.left >= 0 for pot in found.pots) and found.proven == (found.moved == found.least)


@pytest.mark.parametrize("seed", SHORT)
def test_ways_of_everyone_are_combined_until_none_is_better(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                            seed: int) -> None:
    """A gram better than what each has within the part given to them, and no less than SCIP has for all at once.

    No way was left out: for what somebody may have of the pot SCIP moves as many g as the way that uses so much, or
    more than any.
    """
    drawn = drawn_day(seed, most=FEW)
    file, table = drawn.written_to(tmp_path)
    [day] = read_days(file, load_foods(table, bundled=False))
    blocks: list[BlockWays] = []

    def noted(given: list[BlockWays], *how: Any) -> Combined:
        blocks.extend(given)
        return combined(given, *how)

    monkeypatch.setattr(linked, "MOST_JOINED", 1)
    monkeypatch.setattr(linked, "combined", noted)
    found = solve_day(day, time_limit=120.0)
    least = Kitchen(drawn.day, drawn.recipes, drawn.rows, whole=True).solved().moved
    assert found.proven and all(pot.left >= 0 for pot in found.pots)
    assert abs(float(found.moved) - least) < 1e-6
    monkeypatch.setattr(linked, "_combined_on_steps", lambda *given: ([], given[5]))  # nothing, and the bound as it was
    assert solve_day(day, time_limit=120.0).moved > found.moved

    assert blocks
    for block in blocks:
        [alike] = {limit.model.people for limit in block.part.sparse if limit.model.people}
        alone = Kitchen({**drawn.day, "people": [drawn.day["people"][alike[0]]]}, drawn.recipes, drawn.rows, whole=True)
        [pot] = block.own
        [dish] = [name for name, recipe in drawn.recipes.items() if pot.model.name == f"pot of {recipe['title']}"]
        portions = {at: Fraction(len(alike)) for (_, _, thing), at in alone.portion.items() if thing == dish}
        known = {way.used[0]: float(way.moved) for way in block.found}
        compared = 0
        for used in range(int(min(known)), int(max(known)) + 40, 7):
            alone.hold(("used",), portions, Fraction(used), Fraction(used))
            theirs = alone.solved([key for key in alone.held if key[0] not in ("pot", "stock")])
            moved = theirs.moved * len(alike)
            if Fraction(used) in known:
                assert abs(moved - known[Fraction(used)]) < 1e-6, (used, theirs)
                compared += 1
            elif theirs.status == "optimal":
                assert moved + float(block.prices[0]) * used - float(block.least) >= block.more - 1e-6, used
        assert compared >= 3


@pytest.mark.parametrize("exact", [True, False])
def test_portions_that_take_all_of_a_pot_are_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                   exact: bool) -> None:
    """Five have at least 200 g of 1,000 g each, in place of 230 g: 150 g are moved, and nothing else can be."""
    (tmp_path / "own.csv").write_text("food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g,energy_kcal\n"
                                      "soup,own:soup,available,5,3,3,0,69\n", encoding="utf-8")
    (tmp_path / "soup.toml").write_text('title = "Soup"\nservings = 1\n[[ingredients]]\nfood = "soup"\ngrams = 1000\n',
                                        encoding="utf-8")
    people = "".join(f'[[people]]\nname = "P{place}"\nenergy = {200 + place}\nwithin = 0.5\n' for place in range(5))
    (tmp_path / "day.toml").write_text(
        f'title = "one"\n{people}[[meals]]\nname = "dinner"\ndishes = [{{file = "soup.toml", as_written = true, '
        'batches = 1, portion = 230, min = 200, max = 300}]\n', encoding="utf-8")
    [day] = read_days(tmp_path / "day.toml", load_foods(tmp_path / "own.csv", bundled=False))
    monkeypatch.setattr(linked, "MOST_JOINED", 1)
    found = solve_day(day, exact=exact)
    assert found.outcome == "solved" and found.proven and found.moved == 150
    assert {had.grams for had in found.had} == {200}


def test_of_other_numbers_of_batches_it_is_not_said_that_none_is_better(tmp_path: Path,
                                                                        monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: for 57.768 g of fat two eat 722.1 g each of two batches, 723 g in whole grams: 246 g are moved.

    Of one batch they eat 1,000 g together and 22.21 g of butter each, 22.3 g in tenths: 200 + 44.6 g. Between the steps
    two batches are better, 244.2 g beside 244.42 g, and are taken; on them one would be.
    """
    (tmp_path / "own.csv").write_text("food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g,energy_kcal\n"
                                      "broth,own:broth,available,0,10,0,0,40\n"
                                      "butter,own:butter,available,80,0,0,0,720\n", encoding="utf-8")
    (tmp_path / "soup.toml").write_text(
        'title = "Soup"\nservings = 10\n'
        'ingredients = [{food = "broth", grams = 900}, {food = "butter", grams = 100}]\n',
        encoding="utf-8")
    people = "".join(f'[[people]]\nname = "{name}"\nenergy = {energy}\nwithin = 0.5\nfat = {{min = 57.768}}\n'
                     for name, energy in (("A", 830), ("B", 831)))
    (tmp_path / "day.toml").write_text(
        f'title = "one"\n{people}[stock]\nbutter = 200.05\n[[meals]]\nname = "dinner"\n'
        'dishes = [{file = "soup.toml", as_written = true, portion = 600, min = 100, max = 900}]\n'
        'beside = [{food = "butter", max = 90, step = 0.1}]\n', encoding="utf-8")
    [day] = read_days(tmp_path / "day.toml", load_foods(tmp_path / "own.csv", bundled=False))
    best = solve_day(day)
    assert (best.moved, best.proven, best.pots[0].batches) == (exactly(244.6), True, 1)
    monkeypatch.setattr(linked, "MOST_JOINED", 1)
    found = solve_day(day)
    assert (found.moved, found.pots[0].batches) == (246, 2)
    assert found.least <= best.moved and not found.proven


@pytest.mark.parametrize("seed", SHORT)
def test_where_ways_are_not_found_in_time_a_gap_is_stated(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                          seed: int) -> None:
    """What everyone has within a part of the pot is more than the least, by SCIP, and is not called that."""
    def late(*_: Any) -> BlockWays:
        raise NotProven("the time is up")

    drawn = drawn_day(seed, most=FEW)
    file, table = drawn.written_to(tmp_path)
    [day] = read_days(file, load_foods(table, bundled=False))
    monkeypatch.setattr(linked, "MOST_JOINED", 1)
    monkeypatch.setattr(linked, "BlockWays", late)
    found = solve_day(day, time_limit=10.0)
    least = Kitchen(drawn.day, drawn.recipes, drawn.rows, whole=True).solved().moved
    assert found.outcome == "solved" and not found.proven
    assert float(found.least) <= least + 1e-6 < float(found.moved)


class KnownWays(BlockWays):
    """A block with 10 g of a pot as it comes, or 5 g with 3 g moved; a g of the pot at half a g moved."""

    def __init__(self, proven: bool = True) -> None:
        self.prices, self.least, self.proven, self._waiting = (Fraction(1, 2),), Fraction(5), proven, []
        self.found = [Way((Fraction(used),), Fraction(moved)) for used, moved in ((10, 0), (5, 3))]


def test_what_was_left_out_or_cut_short_is_not_called_the_best(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two blocks in a pot of 10 g: 6 g are moved, as both have the second way."""
    def found(*blocks: BlockWays) -> tuple[int | None, bool]:
        answer = combined(blocks, (Fraction(10),), Fraction(0), None)
        return answer.ways and int(sum(way.moved for way in answer.ways)), answer.best

    assert found(KnownWays(), KnownWays()) == (6, True)
    assert found(KnownWays(), KnownWays(proven=False)) == (6, False)
    monkeypatch.setattr(ways, "MOST_COMBINATIONS", 1)
    assert found(KnownWays(), KnownWays()) == (None, False)


@pytest.mark.parametrize("complete", [True, False])
def test_a_way_from_a_search_that_was_cut_short_is_not_proven(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                              complete: bool) -> None:
    """Of a search that ends with weights, and not with the least of them."""
    proven: list[bool] = []

    def ended(*given: Any) -> WholePoint | None:
        point = search.minimum(*given)
        return point and replace(point, complete=point.complete and complete)

    def noted(given: list[BlockWays], *how: Any) -> Combined:
        proven.extend(block.proven for block in given)
        return combined(given, *how)

    drawn = drawn_day(SHORT[0], most=FEW)
    file, table = drawn.written_to(tmp_path)
    [day] = read_days(file, load_foods(table, bundled=False))
    monkeypatch.setattr(linked, "MOST_JOINED", 1)
    monkeypatch.setattr(linked, "combined", noted)
    monkeypatch.setattr(within, "minimum", ended)
    solve_day(day, time_limit=120.0)
    assert proven and set(proven) == {complete}


def exactly(number: float) -> Fraction:
    return Fraction(repr(number))
