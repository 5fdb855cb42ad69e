"""Templates to HTML: whatever comes from a person is text there, and nothing that was not given is passed over."""

from functools import cache
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined

from faultnet.words import fixed, in_words, minutes, percent, percent_range


def rendered(template: str, **values: Any) -> str:
    """A template with its values, as HTML."""
    return _environment().get_template(template).render(values)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("faultnet.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "percent": percent,
        "in_words": in_words,
        "minutes": minutes,
        "fixed": fixed,
        "sentence": sentence,
        "capital": capital,
    }
    environment.globals |= {"job_path": job_path, "percent_range": percent_range}
    return environment


def capital(text: str) -> str:
    """A text with a capital; what is written in capitals stays so."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """A text with a capital, and a stop where it has none."""
    said = text.strip()
    return capital(said) + ("" if said[-1:] in ".?!:" else ".")


def job_path(number: str, *more: str) -> str:
    """Where a job is: `/jobs/1001/why`. A stroke in the shop's number stands as `~` there, which no number has."""
    return "/".join(["/jobs", quote(number.replace("/", "~"), safe="~"), *(quote(each, safe="") for each in more)])


def number_in(path_part: str) -> str:
    """The number of a job from where it is."""
    return path_part.replace("~", "/")
