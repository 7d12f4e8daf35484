"""Faults in what was given to us: where, what it says, what was expected; all of them at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


class RatioSolverError(Exception):
    """Base of every exception that this package raises on purpose."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input.

    Attributes
    ----------
    source : str
        File or option that holds it ("terrine.toml", "--ratio").
    place : str
        Place inside the source ("ingredients[3].max", "line 12, fat_g"); may be empty.
    got : str
        The value found, as text; empty when something is missing.
    expected : str
        What would have been right.
    """

    source: str
    place: str
    got: str
    expected: str

    def __str__(self) -> str:
        where = ": ".join(part for part in (self.source, self.place) if part)
        found = f"got {self.got}; " if self.got else ""
        return f"{where}: {found}{self.expected}"


class BadInput(RatioSolverError):
    """Input that cannot be used; carries every fault found.

    Parameters
    ----------
    faults : iterable of Fault
        At least one.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[type[BadInput], tuple[tuple[Fault, ...]]]:
        """Faults found in another process arrive whole."""
        return BadInput, (self.faults,)


class NotProven(RatioSolverError):
    """The solver's answer failed our own exact check, so it is not shown as an answer."""


def shown(value: object, longest: int = 60) -> str:
    """A value as it stands in a fault, on one line and not too long.

    >>> shown("butter")
    "'butter'"
    """
    text = repr(value)
    return text if len(text) <= longest else text[: longest - 3] + "..."


def collected(faults: Iterable[Fault]) -> None:
    """Raise all the faults together, if there are any."""
    found = tuple(faults)
    if found:
        raise BadInput(found)
