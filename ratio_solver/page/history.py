"""What stands on the page of a dish, and how it came there: each state whole, so that any can be gone back to."""

from __future__ import annotations

from dataclasses import dataclass, replace

MOST_STEPS = 200
"""States that can be gone back to; the oldest ones go."""


@dataclass(frozen=True)
class InBowl:
    """What the scale has said of an ingredient.

    Attributes
    ----------
    label : str
    grams : float
        g in the bowl.
    more : bool
        Whether more of it may still go in; else it is fixed.
    """

    label: str
    grams: float
    more: bool = False


@dataclass(frozen=True)
class State:
    """One state of a dish.

    Attributes
    ----------
    text : str
        The recipe file as it would be saved.
    bowl : tuple of InBowl
        What is weighed in already; no part of the file.
    take : int or None
        The way out that is taken where this bowl has no answer, from 1.
    """

    text: str
    bowl: tuple[InBowl, ...] = ()
    take: int | None = None

    def weighed(self, entry: InBowl) -> State:
        """The same with one more ingredient in the bowl, or with another weight of it."""
        rest = self.taken_out(entry.label)
        return replace(rest, bowl=(*rest.bowl, entry))

    def taken_out(self, label: str) -> State:
        """The same with an ingredient that is not in the bowl after all."""
        return replace(self, bowl=tuple(one for one in self.bowl if one.label != label), take=None)


@dataclass(frozen=True)
class History:
    """The present state, those before it, and those that were gone back from.

    `moving` names what a hand is still moving: its way is one step back, however many states it went through.
    """

    now: State
    past: tuple[State, ...] = ()
    future: tuple[State, ...] = ()
    moving: str = ""

    def changed(self, state: State, moving: str = "") -> History:
        """With another state as the present one.

        >>> first = History(State("a"))
        >>> drag = first.changed(State("b"), "max").changed(State("c"), "max").changed(State("c"))
        >>> drag.undone().now.text, len(drag.past)
        ('a', 1)
        """
        if state == self.now:
            return replace(self, moving=moving)
        same_hand = bool(self.moving) and self.moving == moving
        past = self.past if same_hand else (*self.past, self.now)[-MOST_STEPS:]
        return History(state, past, (), moving)

    def undone(self) -> History:
        """One step back, where there is one."""
        return History(self.past[-1], self.past[:-1], (self.now, *self.future)) if self.past else self

    def redone(self) -> History:
        """One step forward again, where there is one."""
        return History(self.future[0], (*self.past, self.now), self.future[1:]) if self.future else self
