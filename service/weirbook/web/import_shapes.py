"""Documented shapes of what becomes of a keeper's sheet."""

from __future__ import annotations

from weirbook.web.shapes import COUNT, FLAG, TEXT, Shape, described, many, or_null, ref, thing

IMPORT = ref("Import")
IMPORT_COLUMNS = ref("ImportColumns")

_SAID: Shape = thing(
    {
        "value": described(or_null(TEXT), "What was taken; null where nothing needs it"),
        "why": described(TEXT, "By what evidence, or that it was told"),
    }
)
SHAPES: dict[str, Shape] = {
    "Import": thing(
        {
            "dry_run": described(FLAG, "true: nothing was stored, this is what would become of each row"),
            "stored": described(COUNT, "Rows (or readings) that are stored now"),
            "counts": described(
                thing(
                    {
                        "rows": described(COUNT, "Rows with anything in them, the header not counted"),
                        "blank": described(COUNT, "Rows with nothing in them: passed over"),
                        "values": described(
                            or_null(COUNT),
                            "Of readings: the single values in these rows, which the counts below count, with a row that "
                            "can't be read as one; null: the counts below are of rows",
                        ),
                        "new": described(COUNT, "That are or would be stored"),
                        "repeated": described(COUNT, "There already, as the file says them"),
                        "refused": described(COUNT, "That can't be taken"),
                        "flagged": described(COUNT, "Of the new readings: implausible for their gauge"),
                    }
                ),
                "What becomes of the file, counted",
            ),
            "recognised": described(
                thing(
                    {
                        "encoding": _SAID,
                        "words": described(
                            many(TEXT),
                            "Some words with letters beyond ASCII as they were read: look whether they are right",
                        ),
                        "separator": _SAID,
                        "decimals": described(
                            many(
                                thing(
                                    {
                                        "column": described(
                                            TEXT, "A column of numbers, as the file names it"
                                        ),
                                        "value": described(
                                            or_null(TEXT), "point or comma; null where no number has one"
                                        ),
                                        "why": described(TEXT, "By what evidence"),
                                    }
                                )
                            ),
                            "The decimal sign of each column of numbers",
                        ),
                        "date_order": _SAID,
                        "days_without_time": described(
                            TEXT, "The time by the room's clock at which a day without one is taken"
                        ),
                        "time_zone": described(TEXT, "The zone of times without an offset: the room's"),
                        "columns": described(
                            many(
                                thing(
                                    {
                                        "column": described(TEXT, "As the file names it"),
                                        "field": described(TEXT, "What it is taken for"),
                                        "unit": described(or_null(TEXT), "The unit that its name says"),
                                    }
                                )
                            ),
                            "The columns that are used",
                        ),
                        "unused": described(
                            many(
                                thing(
                                    {
                                        "column": described(TEXT, "As the file names it"),
                                        "why": described(TEXT, "Why nothing is made of it"),
                                    }
                                )
                            ),
                            "The columns that are not",
                        ),
                    }
                ),
                "How the file was read, and why so",
            ),
            "rows": described(many(ref("ImportRow")), "Verdicts, by line; see not_listed"),
            "not_listed": described(COUNT, "Verdicts beyond what is listed; as CSV all are"),
            "made_gauges": described(many(TEXT), "Gauges read by hand that are or would be made"),
            "notes": described(many(TEXT), "What to know besides"),
        }
    ),
    "ImportRow": thing(
        {
            "line": described(COUNT, "Line of the file on which the row begins; the header is line 1"),
            "column": described(
                or_null(TEXT),
                "Of a refused row: where it is at fault, with commas between; of a reading: its column",
            ),
            "verdict": described(
                {"type": "string", "enum": ["new", "stored", "repeated", "refused"]},
                "What becomes of it: new would be stored, stored was",
            ),
            "type": described(or_null(TEXT), "Of a refused row: why, as a word for programs"),
            "message": described(or_null(TEXT), "Why, or what to know"),
            "becomes": described(
                {"type": ["object", "null"], "additionalProperties": True},
                "What is stored, as it would be sent by itself; beside the id of a group what it is called (`group_called`)",
            ),
        }
    ),
    "ImportColumns": thing(
        {
            "kind": described(TEXT, "What the sheet holds"),
            "most_rows": described(COUNT, "Rows that one file may have"),
            "columns": described(
                many(
                    thing(
                        {
                            "name": described(TEXT, "Its name, in any case"),
                            "words": described(TEXT, "What stands in it"),
                            "example": described(TEXT, "An example"),
                            "also": described(many(TEXT), "Other names that it goes by"),
                            "required": described(FLAG, "Whether a file must have it"),
                        }
                    )
                ),
                "The columns that a file may have, in any order",
            ),
            "ignored": described(many(TEXT), "Columns of our own CSV out that are passed over"),
        }
    ),
}
"""Shapes that the document names once, under components."""
