"""Standard output and standard error: no character stops them, and what cannot be written is said."""

from __future__ import annotations

import codecs
import io
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from ratio_solver.errors import BadInput, Fault

ESCAPED = "ratio_solver.escaped"
"""Name of the way in which characters are written that an encoding lacks."""

WIDTH = 80
"""Columns of a report, and of a note on stderr."""

PLAIN_SIGNS = {"≈": "~", "·": ".", "±": "+/-", "\u00a0": " "}
"""Signs of the reports that not every encoding has."""


def write_any_character() -> None:
    """Let no character stop an output: one that its encoding lacks is written as JSON would write it."""
    codecs.register_error(ESCAPED, _escaped)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=ESCAPED)


def _escaped(error: UnicodeError) -> tuple[str, int]:
    assert isinstance(error, UnicodeEncodeError)
    units = error.object[error.start:error.end].encode("utf-16-be", "surrogatepass").hex()
    return "".join(f"\\u{units[place:place + 4]}" for place in range(0, len(units), 4)), error.end


def with_plain_signs(report: str) -> str:
    """A report with plain signs for those of its own that the encoding of standard output lacks."""
    return report.translate({ord(sign): plain for sign, plain in PLAIN_SIGNS.items() if not _has(sign)})


def _has(sign: str) -> bool:
    try:
        sign.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        return False
    return True


def with_long_escapes(text: str) -> str:
    """A recipe file with the signs beyond 16 bits that the encoding of standard output lacks as TOML writes them.

    The others are written so by `write_any_character`; of these JSON makes two halves, of which TOML takes none.
    """
    return "".join(sign if sign <= "\uffff" or _has(sign) else f"\\U{ord(sign):08X}" for sign in text)


@contextmanager
def to_stdout() -> Iterator[None]:
    """Say of a full disk, or whatever else refuses, that it was the result that could not be written."""
    try:
        yield
    except BrokenPipeError:
        raise  # who read it has seen enough
    except OSError as error:
        forget_stdout()
        raise BadInput([Fault("standard output", "", "", f"cannot be written: {error.strerror or error}")]) from error


def forget_stdout() -> None:
    """What is still to be written goes nowhere: the end of the process would try it again."""
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
    except (OSError, AttributeError):
        pass
