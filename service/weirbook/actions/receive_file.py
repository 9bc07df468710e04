"""Look at content that somebody sent, lay it bare and write it down, before any transaction and any row."""

from __future__ import annotations

from dataclasses import dataclass

from weirbook.record.attachments import file_name
from weirbook.record.files import Arriving, Files
from weirbook.record.media.bare import Bare
from weirbook.record.media.decoding import made_small
from weirbook.record.media.kinds import Kind, refuse_other, refuse_vast


@dataclass(frozen=True)
class Received:
    """A file that can be attached: written down, not yet in its place."""

    kind: Kind
    bare: Bare
    small: dict[int, bytes]
    arriving: Arriving

    @property
    def sha256(self) -> str:
        return self.arriving.sha256

    @property
    def name(self) -> str:
        return file_name(self.sha256, self.kind.media)


def receive_file(files: Files, kind: Kind, content: bytes) -> Received:
    """What of the content is kept, by what it is and not by what it is called.

    Raises Invalid in words for what is not of the kind that it was sent as, can't be read, is cut off or vast; Busy
    where the disk or other pictures forbid it.
    """
    refuse_other(kind, content)
    bare = kind.lay_bare(content)
    refuse_vast(kind, bare)
    small = made_small(kind, bare) if kind.pixels is not None else {}
    return Received(kind, bare, small, files.receive(bare.content))
