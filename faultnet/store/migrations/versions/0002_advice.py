"""What was advised at every step; the entries that stand, as a view."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

_STANDING = """
CREATE VIEW standing_entries AS
SELECT job_id, seq, place, kind, name, state, value, unit, hold, against, meter, symptom, "by", note, at,
       COALESCE(SUM(CASE WHEN kind = 'repair' THEN 1 ELSE 0 END) OVER (
           PARTITION BY job_id ORDER BY place ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
       ), 0) AS epoch
FROM (
    SELECT entries.*, ROW_NUMBER() OVER (PARTITION BY job_id, place ORDER BY seq DESC) AS latest FROM entries
) AS numbered
WHERE latest = 1 AND kind <> 'taken_back'
"""
"""The entries that stand, with the number of repairs before each: `jobs.entry.standing` in SQL."""


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "advice",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("job_id", _NUMBER, nullable=False),
        sa.Column("n_entries", sa.Integer(), nullable=False),
        sa.Column("version", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("verdict", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("shown_in", sa.Text(), nullable=False),
        sa.Column("trained", sa.Integer(), nullable=False),
        sa.Column("faults", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_advice_job_id", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name="pk_advice"),
    )
    op.create_index("ix_advice_job_id", "advice", ["job_id"])
    op.execute(_STANDING)


def downgrade() -> None:
    """Drop them, with what is in them."""
    op.execute("DROP VIEW standing_entries")
    op.drop_table("advice")
