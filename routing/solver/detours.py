"""When going through other places can help a route, and how far it can help at most.

Real drive tables break the triangle inequality now and then, so a stop may make a route possible that is not possible
without it. Who proves something on a day with fewer jobs must know that none of those left out could have helped.
"""

import numpy as np

from .model import BREAK_CLOSE, BREAK_OPEN, END, NEVER, SHIFT_END, SHIFT_START, START, Ints, Model

MOST_PLACES = 400
"""With more places than this it would take too long to look."""


def leaving_out_is_safe(model: Model) -> bool:
    """Whether every route that keeps its times still keeps them without any of its stops that are not fixed.

    A drive past the stop must take no longer than going there, working and going on. A break that was taken at the
    stop is then taken before that drive or after it; the later of the two begins in time if no drive is longer than
    the window for the beginning. Else the drive past the stop must be no longer than either leg alone with the work:
    then the crew is there as early before its break, or as early after it. False also where there are too many places
    to look.
    """
    used = np.unique(np.concatenate([model.job_place, model.crew[:, START], model.crew[:, END]]))
    if len(used) > MOST_PLACES or not model.crew_count:
        return False
    minutes = model.minutes[np.ix_(used, used)]
    rests = model.crew[:, BREAK_OPEN] < NEVER
    windows = model.crew[rests, BREAK_CLOSE] - model.crew[rests, BREAK_OPEN]
    by_leg = bool(minutes[minutes < NEVER].max(initial=0) > windows.min(initial=NEVER))
    service = model.service.min(axis=0)
    return all(
        _safe_at(minutes, at, int(service[model.job_place == place].min()), by_leg)
        for at, place in enumerate(used)
        if (model.job_place == place).any()
    )


def _safe_at(minutes: Ints, at: int, service: int, by_leg: bool) -> bool:
    there, on = minutes[:, [at]], minutes[[at]]
    if not (there + service + on >= minutes).all():
        return False
    past = np.where((there < NEVER) & (on < NEVER), minutes, 0)
    return not by_leg or bool((there + service >= past).all() and (on + service >= past).all())


def quickest_from(minutes: Ints, start: int) -> Ints:
    """[p] least minutes from a place to each other, through others where that is quicker (Dijkstra); NEVER or more
    where there is no way."""
    least: Ints = minutes[start].copy()
    least[start] = 0
    waiting = np.ones(len(minutes), bool)
    for _ in range(len(minutes)):
        here = int(np.where(waiting, least, 2 * NEVER).argmin())
        waiting[here] = False
        np.minimum(least, least[here] + minutes[here], out=least)
    return least


class Reach:
    """Whether a crew could do a job at all: the quickest way there and home through any places, without its break."""

    def __init__(self, model: Model):
        self._model = model
        self._there: dict[int, Ints] = {}
        self._home: dict[int, Ints] = {}

    def could(self, k: int, job: int) -> bool:
        """False is a proof that no plan has this crew do this job."""
        model = self._model
        if not model.allowed[k, job]:
            return False
        crew, place = model.crew[k], model.job_place[job]
        ready = crew[SHIFT_START] + self._from(int(crew[START]))[place]
        starts = np.maximum(model.window_open[job], ready)[ready <= model.window_close[job]]
        back = starts.min(initial=NEVER) + model.service[k, job] + self._to(int(crew[END]))[place]
        return bool(back <= crew[SHIFT_END])

    def _from(self, place: int) -> Ints:
        if place not in self._there:
            self._there[place] = quickest_from(self._model.minutes, place)
        return self._there[place]

    def _to(self, place: int) -> Ints:
        if place not in self._home:
            self._home[place] = quickest_from(self._model.minutes.T, place)
        return self._home[place]
