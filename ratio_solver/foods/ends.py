"""Ends of the interval in which a figure lies, of two kinds.

The *mean* kind says how well a table's mean is known; the *food* kind, wider, where the one food on the table may
lie. Where a table gives the mean's only, it stands for both: a cook's own interval is the one there is.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

from ratio_solver.errors import BadInput, Fault, shown

End = Literal["", "low", "high", "lowest", "highest"]
"""The figure itself; the ends of the mean's interval; the ends of the one food's."""

Kind = Literal["mean", "food"]

Guaranteed = Literal["mean", "food"] | bool | None
"""Which intervals the targets are held at the ends of: True stands for the mean's, False and None for neither."""

KINDS: tuple[Kind, ...] = ("mean", "food")
ENDS: tuple[End, ...] = ("low", "high", "lowest", "highest")

LEAST: Mapping[Kind, End] = MappingProxyType({"mean": "low", "food": "lowest"})
MOST: Mapping[Kind, End] = MappingProxyType({"mean": "high", "food": "highest"})

_OTHER: Mapping[End, End] = MappingProxyType(
    {"": "", "low": "high", "high": "low", "lowest": "highest", "highest": "lowest"})

STANDS_IN: Mapping[End, End] = MappingProxyType({"": "", "low": "", "high": "", "lowest": "low", "highest": "high"})
"""The end that is taken where the table does not give the one asked for: the food's lies no nearer than the mean's."""


def other_end(end: End) -> End:
    """The opposite end of the same interval.

    >>> other_end("lowest")
    'highest'
    """
    return _OTHER[end]


def kind_of(guaranteed: Guaranteed) -> Kind | None:
    """The kind of intervals meant, or None for neither.

    >>> kind_of(True), kind_of("food"), kind_of(False)
    ('mean', 'food', None)

    Raises
    ------
    BadInput
        Where it is none of these.
    """
    if guaranteed is None or isinstance(guaranteed, bool):
        return "mean" if guaranteed else None
    if guaranteed not in KINDS:
        raise BadInput([Fault("guaranteed", "", shown(guaranteed), "expected mean or food")])
    return guaranteed


def least(kind: Kind | None) -> End:
    """The lower end of a kind; of none, the figure itself."""
    return LEAST[kind] if kind else ""


def most(kind: Kind | None) -> End:
    """The upper end of a kind; of none, the figure itself."""
    return MOST[kind] if kind else ""
