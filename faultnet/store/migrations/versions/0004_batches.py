"""Past jobs come in as numbered batches, which can be taken out whole."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the table of batches; jobs name theirs."""
    op.create_table(
        "batches",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("mapping", sa.Text(), nullable=False),
        sa.Column("n_jobs", sa.Integer(), nullable=False),
        sa.Column("n_rejected", sa.Integer(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("undone_at", sa.Text()),
        sa.PrimaryKeyConstraint("id", name="pk_batches"),
    )
    op.add_column("jobs", sa.Column("batch_id", _NUMBER))
    op.add_column("jobs", sa.Column("row_digest", sa.Text()))
    op.add_column("jobs", sa.Column("superseded_by", _NUMBER))
    op.create_index("ix_jobs_batch_id", "jobs", ["batch_id"])
    op.create_index("ix_jobs_row_digest", "jobs", ["row_digest"])


def downgrade() -> None:
    """Forget which jobs came in together; those that a later batch replaced go with it."""
    op.execute("DELETE FROM parts WHERE job_id IN (SELECT id FROM jobs WHERE superseded_by IS NOT NULL)")
    for table in ("advice", "closings", "entries"):
        op.execute(f"DELETE FROM {table} WHERE job_id IN (SELECT id FROM jobs WHERE superseded_by IS NOT NULL)")
    op.execute("DELETE FROM jobs WHERE superseded_by IS NOT NULL")
    op.drop_index("ix_jobs_row_digest", "jobs")
    op.drop_index("ix_jobs_batch_id", "jobs")
    for column in ("superseded_by", "row_digest", "batch_id"):
        op.drop_column("jobs", column)
    op.drop_table("batches")
