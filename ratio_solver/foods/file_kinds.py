"""Files that are no text of ours: what they are, by their first bytes (signatures from memory)."""

from __future__ import annotations

import re

SPREADSHEET = "a spreadsheet: save it as CSV UTF-8"
WEB_PAGE = "a web page: ratio-solver draft reads it"

SIGNATURES = (
    (b"\x89PNG\r\n\x1a\n", "a PNG picture"), (b"\xff\xd8\xff", "a JPEG picture"), (b"GIF8", "a GIF picture"),
    (b"%PDF-", "a PDF: copy its text into a file"), (b"{\\rtf", "a document in RTF: save it as plain text, UTF-8"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a document or a spreadsheet of an old office program: save it as CSV UTF-8"),
    (b"\x1f\x8b", "a compressed file: unpack it first"),
    (b"\xff\xfe", "text in UTF-16: save it as UTF-8"), (b"\xfe\xff", "text in UTF-16: save it as UTF-8"),
)
"""First bytes and what a file is that has them."""

_ZIP = b"PK\x03\x04"
_PAGE = re.compile(rb"\s*(?:<\?xml[^>]*>\s*)?(?:<!--.*?-->\s*)*<(?:!doctype\s+html|html|head|body)\b", re.I | re.S)


def file_kind_of(data: bytes) -> str:
    """What a file is that is neither a table nor a recipe, or nothing.

    >>> file_kind_of(b"%PDF-1.7"), file_kind_of(b"title = 'soup'"), file_kind_of(b"<!DOCTYPE html><html>")
    ('a PDF: copy its text into a file', '', 'a web page: ratio-solver draft reads it')
    """
    if data.startswith(_ZIP):
        inside = data[:4000]
        return (SPREADSHEET if b"xl/" in data or b"opendocument.spreadsheet" in inside else
                "a document: save it as plain text, UTF-8" if b"word/" in data or b"opendocument.text" in inside else
                "a packed file: unpack it first")
    if _PAGE.match(data.removeprefix(b"\xef\xbb\xbf")[:2000]):
        return WEB_PAGE
    return next((kind for begin, kind in SIGNATURES if data.startswith(begin)), "")
