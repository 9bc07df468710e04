"""Where water goes: return lines, side loops, drains, plants, and what a pump gave when it was clean."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

DRAINING = ("tank", "sump")
LINKS = {"from_tank": "tank", "to_sump": "sump"}


def upgrade() -> None:
    op.add_column("tank", sa.Column("vessel_mass", sa.String(length=60), nullable=True))
    op.add_column("section", sa.Column("plant_coverage", sa.String(length=60), nullable=True))
    for name, kind in (
        ("intake_height", sa.String(length=60)),
        ("line", sa.Text()),
        ("clean_flow", sa.String(length=60)),
        ("cleaned_on", sa.Date()),
    ):
        op.add_column("pump", sa.Column(name, kind, nullable=True))
    for table in DRAINING:
        with op.batch_alter_table(table) as batch:
            batch.add_column(sa.Column("drains_to_id", sa.Integer(), nullable=True))
            batch.create_foreign_key(
                op.f(f"fk_{table}_room_id_drains_to_id"),
                "place",
                ["room_id", "drains_to_id"],
                ["room_id", "id"],
                ondelete="RESTRICT",
            )
    op.add_column("sump", sa.Column("closed", sa.Boolean(), nullable=True))
    op.execute("UPDATE sump SET closed = false")
    with op.batch_alter_table("sump") as batch:
        batch.alter_column("closed", existing_type=sa.Boolean(), nullable=False)
    with op.batch_alter_table("pump") as batch:
        batch.alter_column("to_tank_id", existing_type=sa.Integer(), nullable=True)
        for name, table in LINKS.items():
            batch.add_column(sa.Column(f"{name}_id", sa.Integer(), nullable=True))
            batch.create_foreign_key(
                op.f(f"fk_pump_room_id_{name}_id"),
                table,
                ["room_id", f"{name}_id"],
                ["room_id", "id"],
                ondelete="RESTRICT",
            )


def downgrade() -> None:
    # A side loop has no place in the older record, which knows pumps of tanks alone.
    op.execute("DELETE FROM pump WHERE to_tank_id IS NULL")
    with op.batch_alter_table("pump") as batch:
        for name in LINKS:
            batch.drop_constraint(op.f(f"fk_pump_room_id_{name}_id"), type_="foreignkey")
            batch.drop_column(f"{name}_id")
        batch.alter_column("to_tank_id", existing_type=sa.Integer(), nullable=False)
    op.drop_column("sump", "closed")
    for table in reversed(DRAINING):
        with op.batch_alter_table(table) as batch:
            batch.drop_constraint(op.f(f"fk_{table}_room_id_drains_to_id"), type_="foreignkey")
            batch.drop_column("drains_to_id")
    for name in ("cleaned_on", "clean_flow", "line", "intake_height"):
        op.drop_column("pump", name)
    op.drop_column("section", "plant_coverage")
    op.drop_column("tank", "vessel_mass")
