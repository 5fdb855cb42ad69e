"""The list of voltages and the versions of models."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "voltages",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("code_key", sa.Text(), nullable=False),
        sa.Column("loaded_volts", sa.Float()),
        sa.Column("unplugged_volts", sa.Float()),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("day", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('panel', 'board')", name="ck_voltages_kind"),
        sa.PrimaryKeyConstraint("id", name="pk_voltages"),
    )
    op.create_index("ix_voltages_code_key", "voltages", ["code_key"])
    op.create_table(
        "versions",
        sa.Column("model", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("parent", sa.Integer(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("model", "number", name="pk_versions"),
    )


def downgrade() -> None:
    """Drop them, with what is in them."""
    op.drop_table("versions")
    op.drop_table("voltages")
