"""PDF: held to its first and last words, and never opened.

Source: ISO 32000-2, 7.5.2 (header) and 7.5.5 (trailer; readers look for its end in the last 1024 bytes).
"""

from __future__ import annotations

import re

from weirbook.errors import Invalid
from weirbook.record.media.bare import Bare

START = b"%PDF-"
END = b"%%EOF"
TAIL = 1024
_HEAD = re.compile(rb"%PDF-[12]\.\d[\r\n \t%]")


def lay_bare(content: bytes) -> Bare:
    """The document up to its end. What it says of itself stays in it: it is not opened. Raises Invalid."""
    if _HEAD.match(content) is None:
        raise Invalid("This PDF does not begin as one: it is damaged. Send it again.", "")
    at = content.rfind(END, max(0, len(content) - TAIL))
    if at < 0:
        raise Invalid("This PDF breaks off before its end. Send it again.", "")
    end = at + len(END)
    line_end = re.compile(rb"\r?\n|\r").match(content, end)
    return Bare(content[: end if line_end is None else line_end.end()])
