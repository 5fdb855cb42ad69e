"""Jobs, their entries, the parts that were fitted and how they ended."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "jobs",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("model", sa.Text(), nullable=False),
        sa.Column("after_id", _NUMBER),
        sa.Column("comeback", sa.Text(), nullable=False),
        sa.Column("opened_at", sa.Text(), nullable=False),
        sa.Column("opened_by", sa.Text(), nullable=False),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("stage_since", sa.Text(), nullable=False),
        sa.Column("n_entries", sa.Integer(), nullable=False),
        sa.Column("panel", sa.Text()),
        sa.Column("board", sa.Text()),
        sa.Column("inches", sa.Float()),
        sa.Column("age_years", sa.Float()),
        sa.Column("occurrence", sa.Text()),
        sa.CheckConstraint("comeback IN ('', 'same', 'other')", name="ck_jobs_comeback"),
        sa.CheckConstraint(
            "stage IN ('open', 'tested', 'priced', 'agreed', 'declined', "
            "'waiting', 'repaired', 'on_test', 'closed', 'watched', 'done')",
            name="ck_jobs_stage",
        ),
        sa.ForeignKeyConstraint(["after_id"], ["jobs.id"], name="fk_jobs_after_id"),
        sa.PrimaryKeyConstraint("id", name="pk_jobs"),
        sa.UniqueConstraint("number", name="uq_jobs_number"),
    )
    op.create_index("ix_jobs_panel", "jobs", ["panel"])
    op.create_index("ix_jobs_stage", "jobs", ["stage"])
    op.create_table(
        "entries",
        sa.Column("job_id", _NUMBER, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("supersedes", sa.Integer()),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("hold", sa.Text(), nullable=False),
        sa.Column("against", sa.Text(), nullable=False),
        sa.Column("meter", sa.Text(), nullable=False),
        sa.Column("symptom", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('finding', 'soft', 'reading', 'repair', 'fact', 'given', "
            "'setup', 'skipped', 'model', 'stage', 'price', 'note', 'taken_back')",
            name="ck_entries_kind",
        ),
        sa.CheckConstraint("place <= seq", name="ck_entries_place"),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_entries_job_id", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "seq", name="pk_entries"),
    )
    op.create_table(
        "parts",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("job_id", _NUMBER, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("repair", sa.Text(), nullable=False),
        sa.Column("old_code", sa.Text(), nullable=False),
        sa.Column("new_code", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("leds", sa.Integer()),
        sa.Column("strips", sa.Integer()),
        sa.Column("price_minor", sa.BigInteger()),
        sa.Column("currency", sa.Text(), nullable=False),
        sa.CheckConstraint("source IN ('new', 'used', 'refurbished', 'known_good')", name="ck_parts_source"),
        sa.ForeignKeyConstraint(
            ["job_id", "seq"], ["entries.job_id", "entries.seq"], name="fk_parts_job_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_parts"),
    )
    op.create_table(
        "closings",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("job_id", _NUMBER, nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("verification", sa.Text(), nullable=False),
        sa.Column("hours_on_test", sa.Float()),
        sa.Column("minutes", sa.Float()),
        sa.Column("parts_minor", sa.BigInteger()),
        sa.Column("price_minor", sa.BigInteger()),
        sa.Column("currency", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "outcome IN ('fixed', 'no_fault_found', 'not_worth_repairing', 'no_part', 'declined', 'harmed')",
            name="ck_closings_outcome",
        ),
        sa.CheckConstraint(
            "verification IN ('part_tested', 'proved_by_swap', 'symptom_cleared', 'not_verified')",
            name="ck_closings_verification",
        ),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_closings_job_id", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name="pk_closings"),
    )
    op.create_index("ix_closings_job_id", "closings", ["job_id"])


def downgrade() -> None:
    """Drop them, with what is in them."""
    op.drop_table("closings")
    op.drop_table("parts")
    op.drop_table("entries")
    op.drop_table("jobs")
