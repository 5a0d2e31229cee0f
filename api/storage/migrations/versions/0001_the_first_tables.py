"""The first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the change."""
    op.create_table(
        "attempts",
        sa.Column("key", sa.String(length=260), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_attempts")),
    )
    op.create_table(
        "meta",
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_meta")),
    )
    op.create_table(
        "people",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("name_key", sa.String(length=200), nullable=False),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("password_hash", sa.String(length=300), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_people")),
        sa.UniqueConstraint("name_key", name=op.f("uq_people_name_key")),
    )
    op.create_table(
        "studio_parts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("key", sa.String(length=60), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_studio_parts")),
        sa.UniqueConstraint("kind", "key", name=op.f("uq_studio_parts_kind")),
    )
    op.create_table(
        "answers",
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=200), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_answers_person_id_people")),
        sa.PrimaryKeyConstraint("person_id", "key", name=op.f("pk_answers")),
    )
    op.create_table(
        "changes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("who", sa.String(length=200), nullable=False),
        sa.Column("action", sa.String(length=40), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("key", sa.String(length=200), nullable=False),
        sa.Column("before", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("after", sa.JSON(none_as_null=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_changes_person_id_people")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_changes")),
    )
    with op.batch_alter_table("changes", schema=None) as batch_op:
        batch_op.create_index("ix_changes_kind_key", ["kind", "key"], unique=False)

    op.create_table(
        "feeds",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("subject", sa.String(length=200), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_feeds_person_id_people")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_feeds")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_feeds_secret_hash")),
    )
    with op.batch_alter_table("feeds", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_feeds_person_id"), ["person_id"], unique=False)

    op.create_table(
        "invitations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_invitations_person_id_people")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_invitations")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_invitations_secret_hash")),
    )
    with op.batch_alter_table("invitations", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_invitations_person_id"), ["person_id"], unique=False)

    op.create_table(
        "loads",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=60), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("booked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("dried_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("fired_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("collected_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_loads_person_id_people")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_loads")),
        sa.UniqueConstraint("key", name=op.f("uq_loads_key")),
    )
    with op.batch_alter_table("loads", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_loads_person_id"), ["person_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_loads_state"), ["state"], unique=False)

    op.create_table(
        "plans",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=True),
        sa.Column("based_on", sa.Integer(), nullable=True),
        sa.Column("cost", sa.Double(), nullable=False),
        sa.Column("plan", sa.Text(), nullable=False),
        sa.Column("studio", sa.Text(), nullable=False),
        sa.Column("loads", sa.Text(), nullable=False),
        sa.Column("basis", sa.JSON(), nullable=False),
        sa.Column("under_way", sa.JSON(), nullable=False),
        sa.Column("replanned", sa.Boolean(), nullable=False),
        sa.Column("notes", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["based_on"], ["plans.id"], name=op.f("fk_plans_based_on_plans")),
        sa.ForeignKeyConstraint(["made_by"], ["people.id"], name=op.f("fk_plans_made_by_people")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plans")),
    )
    op.create_table(
        "sessions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("device", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_sessions_person_id_people")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sessions")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_sessions_secret_hash")),
    )
    with op.batch_alter_table("sessions", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sessions_person_id"), ["person_id"], unique=False)

    op.create_table(
        "tokens",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("label", sa.String(length=200), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_tokens_person_id_people")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tokens")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_tokens_secret_hash")),
    )
    with op.batch_alter_table("tokens", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_tokens_person_id"), ["person_id"], unique=False)

    op.create_table(
        "firing_records",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("firing_id", sa.String(length=60), nullable=False),
        sa.Column("kiln", sa.String(length=60), nullable=False),
        sa.Column("profile", sa.String(length=60), nullable=False),
        sa.Column("planned", sa.JSON(), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("loaded_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("result", sa.String(length=20), nullable=True),
        sa.Column("note", sa.String(length=1000), nullable=False),
        sa.Column("expected_hot_until", sa.Integer(), nullable=True),
        sa.Column("expected_safe_at", sa.Integer(), nullable=True),
        sa.Column("kwh", sa.Double(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["plan_id"], ["plans.id"], name=op.f("fk_firing_records_plan_id_plans")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_firing_records")),
        sa.UniqueConstraint("plan_id", "firing_id", name=op.f("uq_firing_records_plan_id")),
    )
    with op.batch_alter_table("firing_records", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_firing_records_kiln"), ["kiln"], unique=False)
        batch_op.create_index(batch_op.f("ix_firing_records_state"), ["state"], unique=False)

    op.create_table(
        "jobs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("request", sa.JSON(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("plan_id", sa.Integer(), nullable=True),
        sa.Column("message", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_jobs_person_id_people")),
        sa.ForeignKeyConstraint(["plan_id"], ["plans.id"], name=op.f("fk_jobs_plan_id_plans")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_jobs")),
    )
    with op.batch_alter_table("jobs", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_jobs_state"), ["state"], unique=False)

    op.create_table(
        "publications",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_publications_person_id_people")),
        sa.ForeignKeyConstraint(["plan_id"], ["plans.id"], name=op.f("fk_publications_plan_id_plans")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_publications")),
    )
    op.create_table(
        "notices",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=200), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("record_id", sa.Integer(), nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("offer", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_notices_person_id_people")),
        sa.ForeignKeyConstraint(["record_id"], ["firing_records.id"], name=op.f("fk_notices_record_id_firing_records")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notices")),
        sa.UniqueConstraint("key", name=op.f("uq_notices_key")),
    )
    op.create_table(
        "readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("record_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("temperature_c", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["record_id"], ["firing_records.id"], name=op.f("fk_readings_record_id_firing_records")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_readings")),
        sa.UniqueConstraint("record_id", "at", name=op.f("uq_readings_record_id")),
    )


def downgrade() -> None:
    """Take the change back."""
    op.drop_table("readings")
    op.drop_table("notices")
    op.drop_table("publications")
    with op.batch_alter_table("jobs", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_jobs_state"))

    op.drop_table("jobs")
    with op.batch_alter_table("firing_records", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_firing_records_state"))
        batch_op.drop_index(batch_op.f("ix_firing_records_kiln"))

    op.drop_table("firing_records")
    with op.batch_alter_table("tokens", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_tokens_person_id"))

    op.drop_table("tokens")
    with op.batch_alter_table("sessions", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sessions_person_id"))

    op.drop_table("sessions")
    op.drop_table("plans")
    with op.batch_alter_table("loads", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_loads_state"))
        batch_op.drop_index(batch_op.f("ix_loads_person_id"))

    op.drop_table("loads")
    with op.batch_alter_table("invitations", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_invitations_person_id"))

    op.drop_table("invitations")
    with op.batch_alter_table("feeds", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_feeds_person_id"))

    op.drop_table("feeds")
    with op.batch_alter_table("changes", schema=None) as batch_op:
        batch_op.drop_index("ix_changes_kind_key")

    op.drop_table("changes")
    op.drop_table("answers")
    op.drop_table("studio_parts")
    op.drop_table("people")
    op.drop_table("meta")
    op.drop_table("attempts")
