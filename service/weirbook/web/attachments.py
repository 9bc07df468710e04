"""Photos and documents: sent as they are, their file apart from what is recorded of them."""

from __future__ import annotations

import uuid
from typing import Any

from flask import Request, Response, current_app, request
from flask_smorest import Blueprint
from marshmallow import Schema, fields
from marshmallow.validate import Length
from sqlalchemy import ColumnElement
from sqlalchemy.orm import Session

from weirbook.actions.attach import attach
from weirbook.actions.detach import detach
from weirbook.actions.edit_attachment import edit_attachment
from weirbook.actions.receive_file import Received, receive_file
from weirbook.config import Config
from weirbook.errors import Conflict, Invalid, Lost, Malformed, NotOffered, TooLarge, Unknown
from weirbook.record.attachments import TAKEN_BY, Attachment, room_files
from weirbook.record.files import Files, no_folder
from weirbook.record.links import find_linked, links_to
from weirbook.record.media.decoding import SIZES, SMALL_MEDIA, made_small
from weirbook.record.media.kinds import KINDS, PDF, TAKEN
from weirbook.web.access import DAILY, READERS
from weirbook.web.equipment import at_place
from weirbook.web.fields import Choice, Instant, Link, PlaceReference, Words
from weirbook.web.happened import happened_within, refuse_ahead
from weirbook.web.journal import MOST_LINKS
from weirbook.web.operations import Body, Call, Example, operation
from weirbook.web.records import HappeningSchema
from weirbook.web.resource import Filter, Resource, as_sent, dumped, locate, shown

EXAMPLE_ID = "01936c5e-8f00-7000-8000-0000000000f1"
POLICY = "default-src 'none'; sandbox; frame-ancestors 'none'"
KEPT = "private, no-cache"
"""A browser may hold a picture, but asks each time, with its key, whether that is still right."""
LABEL = (
    "%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[]/Count 0>>endobj\n"
    + (
        "xref\n0 3\n0000000000 65535 f \n0000000009 00000 n \n0000000052 00000 n \n"
        "trailer<</Size 3/Root 1 0 R>>\nstartxref\n96\n%%EOF\n"
    )
)
"""A document that can be written out in the documentation: a PDF of no page."""
WORDS = "A photo or document about a place. Newest first."
SENT_AS_IT_IS = (
    f"The body is the file as it is, under its own Content-Type: {TAKEN}, one a request. What it is, is told by its "
    "content; names are never looked at. Of a picture the dots, the colour profile and how it is to be turned are kept. "
    "Place, camera and all other notes in it, comments, previews and anything behind its end are left out before it is "
    "stored; of a camera's notes its clock alone is read. A PDF is not opened: what it says of itself stays in it. "
    "Pictures of up to 50 million dots (PNG and WebP 25 million) are taken."
)


class AttachmentSchema(HappeningSchema):
    place = PlaceReference(metadata={"description": "Where; the room if not said"})
    words = Words(allow_none=True)
    links = fields.List(
        Link(),
        allow_none=True,
        validate=Length(max=MOST_LINKS, error=f"At most {MOST_LINKS} links."),
        metadata={"description": "Other records it belongs to, as their paths", "maxItems": MOST_LINKS},
    )
    author = Words(cap=120, metadata={"description": "Who sent it; the key's name if not said"})
    taken_at = Instant(
        attribute="taken_at_ms",
        metadata={
            "description": "When it was taken. If not said: by the camera's clock, read in the room's time zone unless the "
            "picture tells an offset; else when it arrived. A camera's clock ahead of now is not believed"
        },
    )
    taken_at_from = Choice(
        TAKEN_BY,
        dump_only=True,
        metadata={"description": "Who told when: the sender, the camera, or its arrival"},
    )
    media_type = Choice(tuple(KINDS), dump_only=True, metadata={"description": "What the file is"})
    bytes = fields.Integer(
        dump_only=True, attribute="size", metadata={"description": "Length of the file as it is stored"}
    )
    sha256 = fields.String(dump_only=True, metadata={"description": "SHA-256 of the file as it is stored"})
    width = fields.Integer(
        dump_only=True, allow_none=True, metadata={"description": "Dots across, upright; null of a PDF"}
    )
    height = fields.Integer(
        dump_only=True,
        allow_none=True,
        metadata={"description": "Dots from top to bottom, upright; null of a PDF"},
    )


class UploadQuery(Schema):
    place = PlaceReference(metadata={"description": "Where; the room if not said."})
    words = Words(cap=2000, metadata={"description": "What it shows."})
    link = Link(
        metadata={
            "description": "A record it belongs to, as its path, like journal/ID; more of them by PATCH."
        }
    )
    author = Words(cap=120, metadata={"description": "Who sent it; the key's name if not said."})
    taken_at = Instant(
        attribute="taken_at_ms",
        metadata={"description": "When it was taken; by the camera's clock if not said, else now."},
    )


class ThumbnailQuery(Schema):
    size = Choice(
        tuple(map(str, SIZES)), metadata={"description": "Dots of the longer side, 480 if not said."}
    )


def read_file(request: Request, config: Config) -> Received:
    """The file that a body is. Raises NotOffered, TooLarge, Malformed, Invalid, Busy, StoreTrouble."""
    kind = KINDS.get(request.mimetype)
    if kind is None:
        raise NotOffered(
            f"Send the file itself as the body, and say in Content-Type which it is: {', '.join(KINDS)}."
        )
    if (request.content_length or 0) > config.file_cap:
        raise TooLarge(
            f"The file is longer than the {config.file_cap >> 20} MB that are taken. Make it smaller and send it again."
        )
    request.max_content_length = config.file_cap
    content = request.get_data(cache=True)
    if not content:
        raise Malformed("The body is empty: send the file itself.")
    files: Files | None = current_app.database.files  # type: ignore[attr-defined]
    if files is None:
        raise no_folder()
    return receive_file(files, kind, content)


def _prepare(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    if values.get("author") is None:
        values["author"] = call.caller.name
    refuse_ahead(call, values, "taken_at")
    return values


BODY = Body(
    {media: {"type": "string", "format": "binary", "contentMediaType": media} for media in KINDS},
    read_file,
)


def _add_routes(blp: Blueprint) -> None:
    _add_uploads(blp)
    _add_files(blp)


def _add_uploads(blp: Blueprint) -> None:
    @operation(
        blp,
        "POST",
        "/attachments",
        id="create_attachment",
        summary="Attach a photo or document",
        description=SENT_AS_IT_IS,
        roles=DAILY,
        query=UploadQuery,
        body=BODY,
        returns=AttachmentSchema,
        status=201,
        gives=("ETag", "Location"),
        example=Example(
            query={"place": "tanks/nursery", "words": "Label of the new food"},
            body=LABEL,
            headers={"Content-Type": PDF.media},
        ),
    )
    def create(call: Call) -> Response:
        return shown(call, ATTACHMENTS, _attached(call), 201)

    @operation(
        blp,
        "PUT",
        "/attachments/<uuid:id>",
        id="put_attachment",
        summary="Attach a photo or document under an id of your own",
        description=(
            f"{SENT_AS_IT_IS}\n\nSafe to repeat: new answers 201, the same again 200, anything different 409 (edit by PATCH)."
        ),
        roles=DAILY,
        query=UploadQuery,
        body=BODY,
        returns=AttachmentSchema,
        status=201,
        also={200: AttachmentSchema},
        problems=(409,),
        gives=("ETag", "Location"),
        example=Example(
            path={"id": "01936c5e-8f00-7000-8000-00000000abcd"},
            query={"place": "tanks/nursery"},
            body=LABEL,
            headers={"Content-Type": PDF.media},
        ),
    )
    def put(call: Call, id: uuid.UUID) -> Response:
        try:
            present = locate(call, ATTACHMENTS, {"id": id})
        except Unknown:
            return shown(call, ATTACHMENTS, _attached(call, id), 201)
        held = dumped(ATTACHMENTS, present)
        said = {**as_sent(ATTACHMENTS, _said(call)), "sha256": call.body.sha256}
        if {**held, **said} != held:
            raise Conflict("There is another attachment under this id. Edit it by PATCH.", slug="id-taken")
        return shown(call, ATTACHMENTS, present)


def _attached(call: Call, chosen_id: uuid.UUID | None = None) -> Attachment:
    values = _prepare(call, {"place": "room", **_said(call)})
    return attach(call.session, call.body, values, call.zone, now=call.now, chosen_id=chosen_id)


def _said(call: Call) -> dict[str, Any]:
    """What the query tells of the record. Raises Invalid for a link that leads to nothing."""
    said = dict(call.query)
    if (path := said.pop("link", None)) is not None:
        try:
            find_linked(call.session, path)
        except Unknown as trouble:
            raise Invalid(trouble.message, "/link") from None
        said["links"] = [path]
    return said


def _add_files(blp: Blueprint) -> None:
    @operation(
        blp,
        "GET",
        "/attachments/<uuid:id>/file",
        id="get_attachment_file",
        summary="The file of an attachment",
        description=(
            "The file as it is stored: pictures to be shown, a PDF to be saved. A viewer key made for links may stand in the "
            "address."
        ),
        roles=READERS,
        media=tuple(KINDS),
        also={304: None},
        headers=("If-None-Match",),
        gives=("ETag",),
        problems=(410,),
        example=Example(path={"id": EXAMPLE_ID}),
    )
    def file(call: Call, id: uuid.UUID) -> Response:
        row = locate(call, ATTACHMENTS, {"id": id})
        kind = KINDS[row.media_type]
        tag = f'"{row.sha256}"'
        if _is_held(tag):
            return Response(status=304, headers={"ETag": tag, "Cache-Control": KEPT})
        content = room_files(call.session).sound(row.file_name)
        if content is None:
            raise _lost()
        manner = "attachment" if kind is PDF else "inline"
        return _file(content, kind.media, tag, f'{manner}; filename="{row.id}.{kind.ending}"')

    @operation(
        blp,
        "GET",
        "/attachments/<uuid:id>/thumbnail",
        id="get_attachment_thumbnail",
        summary="A small picture of an attachment",
        description=(
            "A small upright JPEG; of a moving picture its first frame. A PDF has none (404). A viewer key made for links may "
            "stand in the address."
        ),
        roles=READERS,
        query=ThumbnailQuery,
        media=(SMALL_MEDIA,),
        also={304: None},
        headers=("If-None-Match",),
        gives=("ETag",),
        problems=(410,),
        example=Example(path={"id": EXAMPLE_ID}, query={"size": "160"}),
    )
    def thumbnail(call: Call, id: uuid.UUID) -> Response:
        row = locate(call, ATTACHMENTS, {"id": id})
        if KINDS[row.media_type].pixels is None:
            raise Unknown(f"A {KINDS[row.media_type].name} has no small picture: ask for its file.")
        size = int(call.query.get("size", "480"))
        tag = f'"{row.sha256}-{size}"'
        if _is_held(tag):
            return Response(status=304, headers={"ETag": tag, "Cache-Control": KEPT})
        return _file(_small(call, row, size), SMALL_MEDIA, tag, f'inline; filename="{row.id}-{size}.jpg"')


def _small(call: Call, row: Attachment, size: int) -> bytes:
    """A small picture: as kept, else made anew from the file. Raises Lost."""
    files = room_files(call.session)
    kept = files.small(row.file_name, size)
    if kept is not None:
        return kept
    content = files.sound(row.file_name)
    if content is None:
        raise _lost()
    kind = KINDS[row.media_type]
    small = made_small(kind, kind.lay_bare(content))
    files.keep_small(row.file_name, small)
    return small[size]


def _lost() -> Lost:
    return Lost(
        "The file of this attachment is missing or damaged on the service's disk. `weirbook check` on the host lists such "
        "files and says how they come back from a copy."
    )


def _is_held(tag: str) -> bool:
    held = [one.strip().removeprefix("W/") for one in request.headers.get("If-None-Match", "").split(",")]
    return tag in held or held == ["*"]


def _file(content: bytes, media: str, tag: str, disposition: str) -> Response:
    return Response(
        content,
        content_type=media,
        headers={
            "ETag": tag,
            "Content-Disposition": disposition,
            "Content-Security-Policy": POLICY,
            "Cross-Origin-Resource-Policy": "same-site",
            "Cache-Control": KEPT,
        },
    )


def _of_record(session: Session, path: str) -> ColumnElement[bool]:
    find_linked(session, path)
    return links_to(Attachment, path)


ATTACHMENTS = Resource(
    model=Attachment,
    schema=AttachmentSchema,
    words=WORDS,
    example={},
    example_key=EXAMPLE_ID,
    example_patch={"words": "Moss on the root, four weeks on."},
    filters={
        "place": at_place(Attachment),
        "link": Filter(Link(metadata={"description": "Only those of this record, as its path."}), _of_record),
        **happened_within(Attachment.taken_at_ms),
    },
    defaults={"place": "room"},
    order=("taken_at_ms", "id"),
    descending=True,
    verbs=("list", "get", "patch", "delete"),
    makers=DAILY,
    prepare=_prepare,
    edit=edit_attachment,
    remove=detach,
    routes=(_add_routes,),
)
