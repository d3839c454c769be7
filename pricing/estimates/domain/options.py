"""Which lines stand together as an option, and which of them are additions to another line of the same service."""

from collections.abc import Sequence


def cumulative_options(separately: Sequence[bool]) -> list[list[int]]:
    """The lines that are not offered separately, and then one separate line more each time, in their order.

    A wash, chalk removal and the garage door (both separately) give: the wash; wash and removal; all three.
    """
    base = [k for k, alone in enumerate(separately) if not alone]
    options = [base] if base else []
    so_far = base
    for k, alone in enumerate(separately):
        if alone:
            so_far = [*so_far, k]
            options.append(sorted(so_far))
    return options


def additions(services: Sequence[str], options: Sequence[Sequence[int]]) -> list[bool]:
    """Whether each line only adds to an earlier line of the same service that is in every option with it.

    Such a line has no set-up and no least charge of its own.
    """
    return [any(_always_with(k, first, options) for first in _same(services, k)) for k in range(len(services))]


def _same(services: Sequence[str], line: int) -> list[int]:
    return [k for k in range(line) if services[k] == services[line]]


def _always_with(line: int, first: int, options: Sequence[Sequence[int]]) -> bool:
    mine = [option for option in options if line in option]
    return bool(mine) and all(first in option for option in mine)
