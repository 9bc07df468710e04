"""Colour profiles: the one thing besides its dots that a picture keeps, since fish would look otherwise without.

Source: ICC.1:2022, 7.2: the header's first word is the profile's length, and "acsp" stands at byte 36.
"""

from __future__ import annotations

LONGEST = 1024 * 1024


def is_profile(content: bytes) -> bool:
    """Whether bytes are a colour profile of plausible length, and nothing behind it."""
    return (
        128 < len(content) <= LONGEST
        and int.from_bytes(content[:4]) == len(content)
        and content[36:40] == b"acsp"
    )
