"""How a job ended, as somebody typed it, completed from the job."""

from dataclasses import dataclass

from faultnet.errors import UsageProblem
from faultnet.jobs import Closing, Job
from faultnet.jobs.closing import VERIFICATIONS
from faultnet.workshop.sums import parse_sum


@dataclass(frozen=True)
class ClosingTyped:
    """What was typed of the end of a job; texts of numbers, "" where nothing was."""

    outcome: str
    verified: str
    on_test: str
    minutes: str
    parts: str
    price: str
    note: str
    by: str


def closing_typed(typed: ClosingTyped, job: Job, *, decimal_comma: bool) -> Closing:
    """The closing that was typed, completed from the job: the price agreed, the parts as entered."""
    problems: list[str] = []
    outcome = typed.outcome.strip().lower().replace("-", "_")
    verified = typed.verified.strip().lower().replace("-", "_")
    if outcome == "fixed" and not verified:
        problems.append(f"--verified: say how sure the cause is: {', '.join(VERIFICATIONS)}")

    def number(option: str, text: str, most: float) -> float | None:
        try:
            return parse_sum(option, text, decimal_comma=decimal_comma, most=most) if text else None
        except UsageProblem as error:
            problems.extend(error.problems)
            return None

    hours = number("--on-test", typed.on_test, 1000)
    minutes = number("--minutes", typed.minutes, 6000)
    parts, price = number("--parts", typed.parts, 1e7), number("--price", typed.price, 1e7)
    if problems:
        raise UsageProblem(*problems)
    paid = [part.price for part in job.parts if part.price is not None]
    parts = sum(paid) if parts is None and paid else parts
    if price is None and job.price is not None and outcome == "fixed":
        price = float(job.price.value)
    return Closing(outcome, verified or "not_verified", hours, minutes, parts, price, "", typed.note, typed.by)
