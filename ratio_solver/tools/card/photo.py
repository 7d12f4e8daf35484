"""The photo of a dish, inside its page: as it is where it is small, else scaled down (extra `photos`, Pillow).

Scaling needs a decoder of JPEG, PNG and WebP: Pillow is the one general library for that, and only whoever has large
photos needs it.
"""

from __future__ import annotations

import base64
import io
from pathlib import Path

from ratio_solver.errors import BadInput, Fault
from ratio_solver.foods.sizes import size_words

MOST_BYTES = 300_000
"""Of a photo inside a page."""

MOST_READ = 32 << 20
MOST_PIXELS = 64_000_000
WIDEST = 1200
"""Pixels of the longer side once it is scaled."""

QUALITIES = (85, 75, 65, 55, 45, 35)
KINDS = {b"\xff\xd8\xff": "jpeg", b"\x89PNG\r\n\x1a\n": "png", b"GIF8": "gif"}


def embedded(path: str, source: str) -> str:
    """The photo as the address of an image inside a page ("data:image/jpeg;base64,...").

    Parameters
    ----------
    path : str
    source : str
        The recipe file, for faults.

    Raises
    ------
    BadInput
        Where there is no such picture, or it is too large and cannot be scaled.
    """
    try:
        with Path(path).open("rb") as file:
            data = file.read(MOST_READ + 1)
    except (OSError, ValueError) as error:
        raise _fault(source, path, f"cannot be read: {getattr(error, 'strerror', None) or error}") from error
    kind = _kind_of(data)
    if not kind or len(data) > MOST_READ:
        raise _fault(source, path, f"expected a picture (JPEG, PNG, WebP or GIF) of at most {size_words(MOST_READ)}")
    if len(data) > MOST_BYTES:
        data, kind = _scaled(data, path, source), "jpeg"
    return f"data:image/{kind};base64,{base64.b64encode(data).decode('ascii')}"


def _kind_of(data: bytes) -> str:
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "webp"
    return next((kind for start, kind in KINDS.items() if data.startswith(start)), "")


def _scaled(data: bytes, path: str, source: str) -> bytes:
    """A JPEG of at most `MOST_BYTES`, upright, without what a camera writes into a file."""
    try:
        from PIL import Image, ImageOps
    except ImportError as error:
        raise _fault(source, path, f"is {size_words(len(data))}; expected at most {size_words(MOST_BYTES)}, or the "
                     "extra that scales it: pip install '.[photos]' in a clone of the repository") from error
    try:
        with Image.open(io.BytesIO(data)) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise _fault(source, path, f"expected at most {MOST_PIXELS:,} pixels")
            picture = ImageOps.exif_transpose(opened).convert("RGB")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise _fault(source, path, f"cannot be read as a picture: {error}") from error
    picture.thumbnail((WIDEST, WIDEST))
    for quality in QUALITIES:
        made = io.BytesIO()
        picture.save(made, "JPEG", quality=quality, optimize=True)
        if made.tell() <= MOST_BYTES:
            break
    return made.getvalue()


def _fault(source: str, path: str, expected: str) -> BadInput:
    return BadInput([Fault(source, "photo", path, expected)])
