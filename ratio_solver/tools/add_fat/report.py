"""What fat to add: as plain data and as text for a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ratio_solver.dish.addition import BEYOND
from ratio_solver.dish.cautions import in_a_cell
from ratio_solver.dish.notices import allergen_words
from ratio_solver.foods.nutrients import ENERGY, NET_CARBS
from ratio_solver.output.blocks import BAD, GOOD, QUIET, STRONG, batch_line, grid, headline, notes, section
from ratio_solver.output.dish_data import facts_data, limit_data, policy_data
from ratio_solver.output.json_csv import Data
from ratio_solver.output.numbers import decimal, honest, plain, ratio, short, short_weight
from ratio_solver.tools.add_fat.compute import BREAKS, CANNOT, KEEPS, UNKNOWN

if TYPE_CHECKING:
    from ratio_solver.dish.status import LimitState
    from ratio_solver.tools.add_fat.compute import AddFat, Addition, Candidate

CANDIDATE_COLUMNS = ("food", "outcome", "least_g", "weighed_g", "ratio", "net_carbs_g", "energy_kcal", "protein_g",
                     "fat_g", "serving_g", "breaks", "brings", "reason", "beyond", "warnings", "caution")


def add_fat_data(found: AddFat) -> Data:
    """The outcome of `add-fat`."""
    return {
        "title": found.recipe.title,
        "servings": found.recipe.servings,
        "ratio": plain(found.ratio),
        "step_g": plain(found.step),
        "reached_as_written": found.reached,
        "as_written": _addition_data(found.written),
        "broken_whatever_is_added": [limit_data(state) for state in found.beyond],
        "candidates": [_candidate_data(candidate) for candidate in found.candidates],
        "mix": None if found.mix is None else _candidate_data(found.mix),
        "not_offered": [{"food": candidate.name, "id": candidate.foods[0].id, "outcome": candidate.outcome}
                        for candidate in found.not_offered],
        "policy": policy_data(found.recipe, found.guaranteed) | {"guaranteed": False},  # not for what is added
        "allergens": list(found.allergens),
        "allergens_unknown": list(found.allergens_unknown),
        "warnings": list(found.warnings),
        "cautions": list(found.cautions),
    }


def _candidate_data(candidate: Candidate) -> Data:
    return {
        "foods": [food.name for food in candidate.foods],
        "ids": [food.id for food in candidate.foods],
        "outcome": candidate.outcome,
        "own_ratio": plain(candidate.own_ratio),
        "least": None if candidate.least is None else _addition_data(candidate.least),
        "weighed": None if candidate.weighed is None else _addition_data(candidate.weighed),
        "brings": list(candidate.brings),
        "reason": candidate.reason or None,
        "beyond": list(candidate.beyond),
    }


def _addition_data(addition: Addition) -> Data:
    return {
        "grams": [plain(grams) for grams in addition.grams],
        "total_g": plain(addition.total),
        "per_serving": facts_data(addition.facts, addition.limits),
        "breaks": [limit_data(state) for state in addition.broken],
    }


def candidate_rows(found: AddFat) -> Iterator[Data]:
    """One row for each candidate (the mix last), for CSV; figures per serving at the weighed grams."""
    for candidate in [*found.candidates, *([found.mix] if found.mix else [])]:
        row: Data = {
            "food": candidate.name, "outcome": candidate.outcome,
            "brings": "; ".join(candidate.brings), "reason": candidate.reason,
            "beyond": "; ".join(candidate.beyond),
            "warnings": "; ".join(found.warnings), "caution": in_a_cell(found.cautions),
        }
        if candidate.least is not None and candidate.weighed is not None:
            facts = facts_data(candidate.weighed.facts, candidate.weighed.limits)
            row |= {
                "least_g": _grams_cell(candidate.least), "weighed_g": _grams_cell(candidate.weighed),
                "serving_g": facts["weight_g"],
                "breaks": "; ".join(state.limit.name for state in candidate.weighed.broken),
                **{key: facts.get(key) for key in ("ratio", NET_CARBS, ENERGY, "protein_g", "fat_g")},
            }
        yield row


def _grams_cell(addition: Addition) -> object:
    """A number, or of a mix both numbers as text."""
    if len(addition.grams) == 1:
        return plain(addition.total)
    return " + ".join(short(grams, 6) for grams in addition.grams)


def add_fat_report(found: AddFat, most: int = 12) -> RenderableType:
    """The candidates in the order of preference, at most so many of each outcome."""
    facts = found.written.facts
    parts: list[RenderableType] = [
        headline(found.recipe.title, *_state(found)),
        Text(f"{batch_line(found.recipe, facts)} as written, at {ratio(facts.ratio, found.written.limits[:0])}"
             f"{found.recipe.policy.formula}; "
             f"to reach at least {short(found.ratio, 4)}:1"),
    ]
    if found.beyond:
        names = "; ".join(dict.fromkeys(state.limit.name for state in found.beyond))
        parts.append(Text(f"Broken as written, whatever is added: {names}", BAD))
    if found.reached and not found.written.broken:
        parts.append(Text("Nothing needs to be added: the ratio and every target are kept as written."))
    elif found.reached:
        parts.append(Text("No fat is needed for the ratio, which the dish has as written."))
    if found.mendable:
        parts += _sections(found, most)
    parts.append(notes(found.recipe, allergen_words(found.allergens, found.allergens_unknown), found.warnings,
                       found.cautions, of=" as written"))
    return Group(*parts)


def _state(found: AddFat) -> tuple[str, str]:
    if found.reached and not found.written.broken:
        return "has its ratio as written", GOOD
    if found.reached and not found.mendable:
        return "has its ratio as written, and breaks other limits", BAD
    best = found.best
    if best is not None and best.outcome == KEEPS and best.weighed is not None:
        words = " and ".join(f"{short(g)} g {food.name}"
                             for g, food in zip(best.weighed.grams, best.foods, strict=True))
        return f"add {words}", GOOD
    if found.unjudged:
        return f"no fat could be judged: {_first_reason(found)}", BAD
    if any(candidate.outcome == UNKNOWN for candidate in found.candidates):
        return "of the fats that could be judged none, and no two, keep every limit", BAD
    return "no fat, and no two, keep every limit", BAD


def _first_reason(found: AddFat) -> str:
    """Why no fat could be judged: the reason they share, or that of the first."""
    reasons = dict.fromkeys(candidate.reason for candidate in found.candidates)
    return next(iter(reasons)) + (" (others: see below)" if len(reasons) > 1 else "")


def _sections(found: AddFat, most: int) -> list[RenderableType]:
    parts: list[RenderableType] = []
    for heading, outcome, chosen in _grouped(found):
        if chosen:
            told = [Text(f"{words}.", "yellow") for words in _told(chosen[:most])]
            parts.append(section(heading, _table(found, chosen[:most], outcome), *told, *_more(chosen, most)))
    if found.mix is not None:
        heading = "The mix of two with the fewest grams that keeps every limit" if found.mix.outcome == KEEPS \
            else f"A mix of two keeps every limit, but not in steps of {short(found.step)} g"
        parts.append(section(heading, _mix_table(found, found.mix)))
    elif not found.unjudged and not _hopeless(found) and not any(c.outcome == KEEPS for c in found.candidates):
        which = "those that could be judged" if any(c.outcome == UNKNOWN for c in found.candidates) else "them"
        parts += [Text(""), Text(f"No mix of two of {which} keeps every limit either.", BAD)]
    for outcome, heading in ((CANNOT, "Cannot reach it: their own ratio is not above the one to be reached"),
                             (UNKNOWN, "Cannot be judged")):
        others = [c for c in found.candidates if c.outcome == outcome]
        if others:
            parts.append(section(heading, _without_grams(others[:most], outcome), *_more(others, most)))
    if found.not_offered:
        names = "; ".join(candidate.name for candidate in found.not_offered)
        parts.append(section(f"Not offered, as a serving would hold {BEYOND}", Text(names)))
    return parts


def _grouped(found: AddFat) -> Iterator[tuple[str, str, list[Candidate]]]:
    """The candidates with grams under their headings, which have the columns of an outcome.

    One that would be added for nothing is under none.
    """
    broken = {candidate.name: found.broken_by(candidate.weighed) for candidate in found.candidates
              if candidate.outcome == BREAKS and candidate.weighed and candidate.weighed.total}
    breaking = [candidate for candidate in found.candidates if candidate.name in broken]
    reach = "" if found.reached else "reaches it and "
    yield (f"Any one of these {reach}keeps every limit", KEEPS,
           [candidate for candidate in found.candidates if candidate.outcome == KEEPS])
    yield (f"Any one of these {reach}breaks no other limit", KEEPS,
           [candidate for candidate in breaking if not broken[candidate.name]])
    yield ("These break another limit" if found.reached else
           f"These reach it and break {'another' if _hopeless(found) else 'a'} limit", BREAKS,
           [candidate for candidate in breaking if broken[candidate.name]])
    yield (f"With these a serving would hold {BEYOND}", BREAKS,
           [candidate for candidate in found.candidates if candidate.outcome == BEYOND])


def _told(chosen: Sequence[Candidate]) -> list[str]:
    """What a serving would hold beyond the most of it, by the name of what is added."""
    return [f"{candidate.name}: {words}" for candidate in chosen for words in candidate.beyond]


def _hopeless(found: AddFat) -> bool:
    """Whether a target is broken whatever is added, so that no fat and no mix keeps every limit."""
    return any(state in found.beyond for state in found.written.broken)


def _more(chosen: Sequence[Candidate], most: int) -> list[RenderableType]:
    left = len(chosen) - most
    return [Text(f"and {left} more (--most)", QUIET)] if left > 0 else []


def _table(found: AddFat, chosen: Sequence[Candidate], outcome: str) -> RenderableType:
    last = "adds allergen" if outcome == KEEPS else "breaks"
    table = _figures_grid(last)
    table.add_row(Text("as written", QUIET), "", "", *_figures(found.written), "")
    for candidate in chosen:
        assert candidate.least is not None and candidate.weighed is not None
        broken = ", ".join(state.limit.name for state in found.broken_by(candidate.weighed))
        brings = ", ".join(candidate.brings)
        name = Text(candidate.name)
        if candidate.reason:
            name.append(f"\n  {candidate.reason}", QUIET)
        if outcome != KEEPS:
            name.append(_adds(candidate.brings), "yellow")
        table.add_row(name, decimal(candidate.least.total, 2),
                      Text(short(candidate.weighed.total), STRONG), *_figures(candidate.weighed),
                      Text(brings if outcome == KEEPS else broken, "yellow" if outcome == KEEPS else BAD))
    return table


def _adds(brings: Sequence[str]) -> str:
    """A line under the name, where the last column says which limit breaks."""
    return f"\n  adds {', '.join(brings)}" if brings else ""


def _figures_grid(last: str) -> Table:
    return grid(("per serving:", "left"), ("needs\ng", "right"), ("weigh\ng", "right"), ("net\ncarbs", "right"),
                ("protein\ng", "right"), ("energy\nkcal", "right"), ("serving\ng", "right"), (last, "left"))


def _figures(addition: Addition) -> tuple[str, str, str, str]:
    """Net carbs, protein, energy and weight of a serving, on the right side of their limits."""
    def shown(column: str, decimals: int, name: str) -> str:
        return honest(addition.facts.amounts[column], decimals, _named(addition, name))

    return (shown(NET_CARBS, 2, "net carbs"), shown("protein_g", 1, "protein"), shown(ENERGY, 0, "energy"),
            decimal(addition.facts.weight, 0))


def _named(addition: Addition, name: str) -> list[LimitState]:
    return [state for state in addition.limits if state.limit.kind == "target" and state.limit.name == name]


def _mix_table(found: AddFat, mix: Candidate) -> RenderableType:
    assert mix.least is not None and mix.weighed is not None
    table = _figures_grid("adds allergen" if mix.outcome == KEEPS else "breaks")
    table.add_row(Text("as written", QUIET), "", "", *_figures(found.written), "")
    for place, food in enumerate(mix.foods):
        table.add_row(Text(food.name), decimal(mix.least.grams[place], 2),
                      Text(short_weight(mix.weighed.grams[place]), STRONG), "", "", "", "", "")
    last = ", ".join(mix.brings) if mix.outcome == KEEPS else ", ".join(s.limit.name for s in mix.weighed.broken)
    together = Text("together")
    if mix.outcome != KEEPS:
        together.append(_adds(mix.brings), "yellow")
    table.add_row(together, decimal(mix.least.total, 2), short(mix.weighed.total), *_figures(mix.weighed),
                  Text(last, "yellow"))
    return table


def _without_grams(chosen: Sequence[Candidate], outcome: str) -> RenderableType:
    last = "own ratio" if outcome == CANNOT else "why"
    table = grid(("", "left"), (last, "left"), ("adds allergen", "left"))
    for candidate in chosen:
        own = candidate.own_ratio
        table.add_row(Text(candidate.name), ratio(own) if outcome == CANNOT else Text(candidate.reason),
                      Text(", ".join(candidate.brings), "yellow"))
    return table
