"""Firings that people hold; what a job found that is no plan."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the change."""
    op.create_table(
        "holds",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kiln", sa.String(length=60), nullable=False),
        sa.Column("load_at", sa.Integer(), nullable=False),
        sa.Column("start_at", sa.Integer(), nullable=False),
        sa.Column("unload_at", sa.Integer(), nullable=False),
        sa.Column("loads", sa.JSON(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("let_go_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_holds_person_id_people")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_holds")),
    )
    with op.batch_alter_table("jobs", schema=None) as batch_op:
        batch_op.add_column(sa.Column("result", sa.JSON(none_as_null=True), nullable=True))


def downgrade() -> None:
    """Take the change back."""
    with op.batch_alter_table("jobs", schema=None) as batch_op:
        batch_op.drop_column("result")

    op.drop_table("holds")
