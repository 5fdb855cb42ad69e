"""The bench page has a PIN for the shop's network, and remembers wrong ones."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"

_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the tables of the PIN and of wrong ones."""
    op.create_table(
        "entrance",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("pin", sa.Text(), nullable=False),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.CheckConstraint("id = 1", name="ck_entrance_only_one"),
        sa.PrimaryKeyConstraint("id", name="pk_entrance"),
    )
    op.create_table(
        "wrong_pins",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_wrong_pins"),
    )
    op.create_index("ix_wrong_pins_at", "wrong_pins", ["at"])


def downgrade() -> None:
    """Drop both: a new PIN is made when one is needed."""
    op.drop_table("wrong_pins")
    op.drop_table("entrance")
