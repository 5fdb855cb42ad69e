"""What takes long to work out is kept, so that any bench can read it."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the table of reports."""
    op.create_table(
        "reports",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("asked", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("done_at", sa.Text()),
        sa.Column("failed", sa.Text(), nullable=False),
        sa.Column("document", sa.Text()),
        sa.Column("led_to", sa.Text(), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary()),
        sa.CheckConstraint("kind IN ('tune', 'rates', 'calibration', 'import')", name="ck_reports_kind"),
        sa.PrimaryKeyConstraint("id", name="pk_reports"),
    )


def downgrade() -> None:
    """Drop it: what it holds can be worked out again."""
    op.drop_table("reports")
