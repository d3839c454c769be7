"""Ids of jobs inside problems and plans, and the texts that replace them for people."""

import re
from collections.abc import Callable, Mapping

_JOB = re.compile(r"\bJ(\d+)\b")
_CREW = re.compile(r"\bcrew ([-\w]+)")
_CLOCK = re.compile(r"\b(\d{2}):(\d{2})\b")


def job_key(job_id: int) -> str:
    """The string id of a job: 17 -> "J17"."""
    return f"J{job_id}"


def job_id_of(key: str) -> int:
    """Back from `job_key`. Raises ValueError for any other text."""
    match = _JOB.fullmatch(key)
    if match is None:
        raise ValueError(f"{key!r} is not the id of a job")
    return int(match[1])


def job_ids_in(text: str) -> list[int]:
    """The jobs that a sentence of the solver names."""
    return [int(number) for number in _JOB.findall(text)]


def for_people(
    text: str, labels: Mapping[int, str], crew_names: Mapping[str, str], clock_text: Callable[[int], str]
) -> str:
    """A sentence of the solver with jobs and crews by their names and minutes as the clock on the wall shows them."""
    text = _JOB.sub(lambda match: labels.get(int(match[1]), match[0]), text)
    text = _CREW.sub(lambda match: crew_names.get(match[1], match[0]), text)
    text = _CLOCK.sub(lambda match: clock_text(int(match[1]) * 60 + int(match[2])), text)
    return text[:1].upper() + text[1:]
