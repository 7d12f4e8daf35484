"""What is said aloud of a dish after something was done: how it came out, and what changed by it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ratio_solver.page.open_dish import OpenDish

MOST_TOLD = 4
"""Weights that are named as changed; of more their number is said."""


def told_of(dish: OpenDish, refused: Sequence[str] = (), saved: bool = False) -> str:
    """One or a few sentences, for those who do not see the page."""
    if refused:
        return " ".join(refused)
    if saved:
        return f"Saved as {dish.name}."
    if dish.faults:
        return f"This cannot be read as a recipe. {'; '.join(dish.faults)}"
    if dish.solving:
        return "Still solving. The last answer stays and is marked as old."
    if dish.stopped:
        return f"No new answer: {dish.stopped}. The last answer stays and is marked as old."
    answer = dish.answer
    if answer is None:
        return ""
    if answer.outcome != "solved":
        return f"{answer.headline}. {' '.join(answer.said[:1])}"
    gauges = ", ".join(f"{name} {answer.gauges[key].value}" for key, name in
                       (("ratio", "ratio"), ("net_carbs_g", "net carbs")))
    changes = "; ".join(_changes(dish))
    return f"{answer.headline}: {gauges}.{f' {changes}.' if changes else ''}"


def _changes(dish: OpenDish) -> Iterator[str]:
    """The weights that are others than in the answer before."""
    answer, before = dish.answer, dish.before
    if answer is None or before is None or before.shape[:1] != answer.shape[:1] or not before.figures:
        return
    labels = [str(label) for label in answer.shape[0]]  # type: ignore[attr-defined]
    moved = [f"{label} {old.grams} to {new.grams} g" for label, old, new in
             zip(labels, before.figures, answer.figures, strict=True) if old.grams != new.grams]
    yield from moved[:MOST_TOLD]
    if len(moved) > MOST_TOLD:
        yield f"and {len(moved) - MOST_TOLD} more"
    if not moved:
        yield "no weight changed"
