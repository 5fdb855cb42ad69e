"""The tables of a shop's database, the same in SQLite and PostgreSQL.

Rows of `entries` are only ever added. `jobs` holds, beside what never changes, the stage and the facts as they stand,
for lists and questions over many jobs; they are written in the same transaction as the entry that says so, and
`store.check` compares the two.
"""

from datetime import UTC, datetime

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Dialect,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)

from faultnet.jobs.closing import COMEBACKS, OUTCOMES, PART_SOURCES, VERIFICATIONS
from faultnet.jobs.entry import KINDS
from faultnet.jobs.stage import STAGES

HEAD = "0006"
"""The migration that makes these tables; a test compares it with the newest one there is."""


class Moment(TypeDecorator[datetime]):
    """A moment in UTC, kept as ISO 8601 text of one length, so that text order is time order in every database."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: datetime | None, _dialect: Dialect) -> str | None:
        """The text of a moment. ValueError: it does not say its time zone."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment needs its time zone")
        return moment_text(value)

    def process_result_value(self, value: str | None, _dialect: Dialect) -> datetime | None:
        """The moment of a text."""
        return None if value is None else datetime.fromisoformat(value)


def moment_text(at: datetime) -> str:
    """A moment as it stands in the database."""
    return at.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def _one_of(column: str, known: object) -> str:
    listed = ", ".join(f"'{each}'" for each in known)  # type: ignore[attr-defined]
    return f"{column} IN ({listed})"


_NUMBER = BigInteger().with_variant(Integer(), "sqlite")
"""An id: SQLite counts up only what is called INTEGER."""

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)

jobs = Table(
    "jobs",
    metadata,
    Column("id", _NUMBER, primary_key=True),
    Column("number", Text, nullable=False),
    Column("model", Text, nullable=False),
    Column("after_id", _NUMBER, ForeignKey("jobs.id")),
    Column("comeback", Text, nullable=False, default=""),
    Column("opened_at", Moment, nullable=False),
    Column("opened_by", Text, nullable=False, default=""),
    Column("stage", Text, nullable=False, index=True),
    Column("stage_since", Moment, nullable=False),
    Column("n_entries", Integer, nullable=False, default=0),
    Column("panel", Text, index=True),
    Column("board", Text),
    Column("inches", Float),
    Column("age_years", Float),
    Column("occurrence", Text),
    Column("batch_id", _NUMBER, index=True),
    Column("row_digest", Text, index=True),
    Column("superseded_by", _NUMBER),
    UniqueConstraint("number"),
    CheckConstraint(_one_of("stage", STAGES), name="stage"),
    CheckConstraint(_one_of("comeback", ("", *COMEBACKS)), name="comeback"),
)

entries = Table(
    "entries",
    metadata,
    Column("job_id", _NUMBER, ForeignKey("jobs.id", ondelete="CASCADE"), nullable=False),
    Column("seq", Integer, nullable=False),
    Column("place", Integer, nullable=False),
    Column("supersedes", Integer),
    Column("kind", Text, nullable=False),
    Column("name", Text, nullable=False, default=""),
    Column("state", Text, nullable=False, default=""),
    Column("value", Text, nullable=False, default=""),
    Column("unit", Text, nullable=False, default=""),
    Column("hold", Text, nullable=False, default=""),
    Column("against", Text, nullable=False, default=""),
    Column("meter", Text, nullable=False, default=""),
    Column("symptom", Text, nullable=False, default=""),
    Column("by", Text, nullable=False, default=""),
    Column("note", Text, nullable=False, default=""),
    Column("at", Moment, nullable=False),
    PrimaryKeyConstraint("job_id", "seq"),
    CheckConstraint(_one_of("kind", KINDS), name="kind"),
    CheckConstraint("place <= seq", name="place"),
)

parts = Table(
    "parts",
    metadata,
    Column("id", _NUMBER, primary_key=True),
    Column("job_id", _NUMBER, nullable=False),
    Column("seq", Integer, nullable=False),
    Column("repair", Text, nullable=False),
    Column("old_code", Text, nullable=False, default=""),
    Column("new_code", Text, nullable=False, default=""),
    Column("source", Text, nullable=False),
    Column("leds", Integer),
    Column("strips", Integer),
    Column("price_minor", BigInteger),
    Column("currency", Text, nullable=False, default=""),
    ForeignKeyConstraint(["job_id", "seq"], ["entries.job_id", "entries.seq"], ondelete="CASCADE"),
    CheckConstraint(_one_of("source", PART_SOURCES), name="source"),
)

closings = Table(
    "closings",
    metadata,
    Column("id", _NUMBER, primary_key=True),
    Column("job_id", _NUMBER, ForeignKey("jobs.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("outcome", Text, nullable=False),
    Column("verification", Text, nullable=False),
    Column("hours_on_test", Float),
    Column("minutes", Float),
    Column("parts_minor", BigInteger),
    Column("price_minor", BigInteger),
    Column("currency", Text, nullable=False, default=""),
    Column("note", Text, nullable=False, default=""),
    Column("by", Text, nullable=False, default=""),
    Column("at", Moment, nullable=False),
    CheckConstraint(_one_of("outcome", OUTCOMES), name="outcome"),
    CheckConstraint(_one_of("verification", VERIFICATIONS), name="verification"),
)

advice = Table(
    "advice",
    metadata,
    Column("id", _NUMBER, primary_key=True),
    Column("job_id", _NUMBER, ForeignKey("jobs.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("n_entries", Integer, nullable=False),
    Column("version", Text, nullable=False),
    Column("digest", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("what", Text, nullable=False, default=""),
    Column("verdict", Text, nullable=False, default=""),
    Column("why", Text, nullable=False, default=""),
    Column("shown_in", Text, nullable=False),
    Column("trained", Integer, nullable=False),
    Column("faults", Text, nullable=False),
    Column("at", Moment, nullable=False),
)

voltages = Table(
    "voltages",
    metadata,
    Column("id", _NUMBER, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("code", Text, nullable=False),
    Column("code_key", Text, nullable=False, index=True),
    Column("loaded_volts", Float),
    Column("unplugged_volts", Float),
    Column("source", Text, nullable=False),
    Column("day", Text, nullable=False),
    Column("note", Text, nullable=False, default=""),
    CheckConstraint("kind IN ('panel', 'board')", name="kind"),
)

versions = Table(
    "versions",
    metadata,
    Column("model", Text, nullable=False),
    Column("number", Integer, nullable=False),
    Column("parent", Integer, nullable=False),
    Column("digest", Text, nullable=False),
    Column("document", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("at", Moment, nullable=False),
    PrimaryKeyConstraint("model", "number"),
)

batches = Table(
    "batches",
    metadata,
    Column("id", _NUMBER, primary_key=True),
    Column("file", Text, nullable=False),
    Column("digest", Text, nullable=False),
    Column("mapping", Text, nullable=False),
    Column("n_jobs", Integer, nullable=False),
    Column("n_rejected", Integer, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", Moment, nullable=False),
    Column("undone_at", Moment),
)

REPORTS = ("tune", "rates", "calibration", "import")
"""Kinds of reports."""

reports = Table(
    "reports",
    metadata,
    Column("id", _NUMBER, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("asked", Text, nullable=False),
    Column("by", Text, nullable=False, default=""),
    Column("at", Moment, nullable=False),
    Column("done_at", Moment),
    Column("failed", Text, nullable=False, default=""),
    Column("document", Text),
    Column("led_to", Text, nullable=False, default=""),
    Column("file", Text, nullable=False, default=""),
    Column("content", LargeBinary),
    CheckConstraint(_one_of("kind", REPORTS), name="kind"),
)

entrance = Table(
    "entrance",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("pin", Text, nullable=False),
    Column("secret", Text, nullable=False),
    Column("at", Moment, nullable=False),
    CheckConstraint("id = 1", name="only_one"),
)

wrong_pins = Table(
    "wrong_pins",
    metadata,
    Column("id", _NUMBER, primary_key=True),
    Column("address", Text, nullable=False),
    Column("at", Moment, nullable=False, index=True),
)

IN_ORDER = (batches, jobs, entries, parts, closings, advice, voltages, versions)
"""The tables of what was written down, in an order in which rows can be put in."""

MADE_AGAIN = (reports,)
"""Tables of what was worked out from the others, and can be again: in no backup, and empty after one is put back."""

OF_THE_PAGE = (entrance, wrong_pins)
"""Tables of who may come in from the network: in no backup, which may lie anywhere, and untouched by one."""
