"""Faults in what was given to us: where, what it says, what was expected; all of them at once."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

LONGEST = 300
"""Characters of one part of a message, beyond which it is cut."""

_UNSEEN = re.compile("[\x00-\x1f\x7f-\x9f\xad\u061c\u180e\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufdd0-\ufdef"
                     "\ufeff\ufff0-\ufffb\ufffe\uffff\ud800-\udfff\U000e0000-\U000e007f]")
"""Characters that change what is around them rather than being seen: controls of a terminal, breaks of a line, what
turns the direction of writing, what has no width, halves of a character. Joiners, which scripts need, are left."""


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
    line : int
        Line of the source that has the place, from 1; 0 where that is not known.
    spoken : str
        The place as a cook says it ("ingredient 'cod fillet' (9th), max"); empty where it is said as it stands.
    """

    source: str
    place: str
    got: str
    expected: str
    line: int = 0
    spoken: str = ""

    def __str__(self) -> str:
        source = f"{cut(self.source)}:{self.line}" if self.line else cut(self.source)
        where = ": ".join(part for part in (source, cut(self.spoken or self.place)) if part)
        found = f"got {cut(self.got)}; " if self.got else ""
        return written_out(f"{where}: {found}{cut(self.expected)}")


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


def lacks_extra(source: str, what: str, extra: str) -> BadInput:
    """What is raised where what is asked for takes a library that is not installed.

    Parameters
    ----------
    source : str
        File, command or option that asks for it.
    what : str
        What takes it, in the plural: "workbooks".
    extra : str
        Of `setup.cfg`, which installs it.
    """
    how = f"pip install '.[{extra}]' in a clone of the repository"
    return BadInput([Fault(source, "", "", f"{what} need the extra `{extra}`: {how}")])


def one_line(text: str) -> str:
    r"""A text from a file as it is kept: blanks and breaks of any kind are single spaces, the rest can be seen.

    Every text that is read goes through here, so that none can move a cursor, begin a line of a report or turn the
    writing round.

    >>> one_line(" two\n lines "), one_line("soup\x1b[1A")
    ('two lines', 'soup\\x1b[1A')
    """
    return written_out(" ".join(text.split()))


def written_out(text: str) -> str:
    r"""A text with every character that is not seen written out, as Python would write it.

    >>> written_out("salt\u202e\n")
    'salt\\u202e\\n'
    """
    return text if text.isprintable() else _UNSEEN.sub(lambda found: _escape(found[0]), text)


def _escape(letter: str) -> str:
    number = ord(letter)
    short = {"\n": "\\n", "\r": "\\r", "\t": "\\t"}.get(letter)
    return short or (f"\\x{number:02x}" if number < 0x100 else f"\\u{number:04x}" if number < 0x10000 else
                     f"\\U{number:08x}")


def cut(text: str, longest: int = LONGEST) -> str:
    """A text that is not too long, the end left out where it is.

    >>> cut("butter"), cut("butter", 5)
    ('butter', 'bu...')
    """
    return text if len(text) <= longest else text[: longest - 3] + "..."


def unforeseen(error: BaseException) -> str:
    """What to say of an error that nobody has thought of: its kind and its first line, and that it is our defect."""
    first = str(error).strip().partition("\n")[0]
    told = f"{type(error).__name__}: {cut(first)}" if first else type(error).__name__
    return f"stopped by {told}; this is a defect of ratio_solver"


def shown(value: object, longest: int = 60) -> str:
    """A value as it stands in a fault, on one line and not too long.

    >>> shown("butter")
    "'butter'"
    """
    if isinstance(value, str):
        return cut(repr(value[: longest + 1]), longest)
    try:
        return cut(repr(value), longest)
    except (ValueError, RecursionError):  # more digits, or deeper, than Python writes out
        return "too large to show"


def collected(faults: Iterable[Fault]) -> None:
    """Raise all the faults together, if there are any."""
    found = tuple(faults)
    if found:
        raise BadInput(found)
