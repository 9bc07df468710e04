"""Column types: what was entered comes back as it was entered, from both engines."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest
import sqlalchemy as sa
from harness import on_both_engines
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.units import KINDS, Quantity, quantity
from weirbook.record.columns import Parts, QuantityText
from weirbook.record.database import Database

LENGTHS = [unit.name for unit in KINDS["length"].units]
figures = st.floats(allow_nan=False, allow_infinity=False, min_value=-1e12, max_value=1e12).map(
    lambda figure: float(f"{figure:.12g}")
)

TABLE = sa.Table(
    "shelf",
    sa.MetaData(),
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("size", QuantityText("length")),
    sa.Column("parts", Parts),
)


@pytest.fixture
def connection(database: Database) -> Iterator[sa.Connection]:
    with database.engine.connect().execution_options(weirbook_writes=True) as found:
        TABLE.create(found)
        yield found


@on_both_engines
@pytest.mark.parametrize(
    ("said", "kept"),
    [
        ("72 in", "72 in"),
        ("72.50 in", "72.5 in"),
        ("0.1 m", "0.1 m"),
        ("1e3 mm", "1000 mm"),
        ("-3 cm", "-3 cm"),
    ],
)
def test_a_quantity_is_kept_as_entered(connection: sa.Connection, said: str, kept: str) -> None:
    connection.execute(TABLE.insert().values(id=1, size=quantity(said, "length")))
    assert connection.exec_driver_sql("SELECT size FROM shelf").scalar() == kept
    assert connection.scalar(sa.select(TABLE.c.size)) == quantity(said, "length")


@on_both_engines
def test_no_quantity_and_no_parts_are_null(connection: sa.Connection) -> None:
    connection.execute(TABLE.insert().values(id=1, size=None, parts=None))
    assert connection.exec_driver_sql("SELECT size, parts FROM shelf").one() == (None, None)
    assert connection.execute(sa.select(TABLE.c.size, TABLE.c.parts)).one() == (None, None)


@on_both_engines
def test_quantities_inside_parts_keep_their_units(connection: sa.Connection) -> None:
    parts = [
        {"diameter": Quantity(1.5, "in"), "kind": "siphon", "drop": None},
        {"diameter": Quantity(32.0, "mm"), "kind": "Überlauf ½ 水"},
    ]
    connection.execute(TABLE.insert().values(id=1, parts=parts))
    raw = json.loads(connection.exec_driver_sql("SELECT parts FROM shelf").scalar() or "")
    assert raw[0] == {"diameter": {"value": 1.5, "unit": "in"}, "kind": "siphon", "drop": None}
    assert connection.scalar(sa.select(TABLE.c.parts)) == parts


def test_what_is_neither_json_nor_a_quantity_has_no_place_in_parts() -> None:
    with pytest.raises(TypeError, match="no place"):
        Parts().process_bind_param({"when": object()}, sa.Dialect())


@given(figure=figures, name=st.sampled_from(LENGTHS))
def test_any_length_comes_back_equal(figure: float, name: str) -> None:
    column, dialect = QuantityText("length"), sa.Dialect()
    entered = Quantity(figure, name)
    assert column.process_result_value(column.process_bind_param(entered, dialect), dialect) == entered


@given(figure=figures)
def test_every_text_fits_its_column(figure: float) -> None:
    longest = max((unit.name for kind in KINDS.values() for unit in kind.units), key=len)
    assert len(Quantity(figure, longest).text()) <= 60
