"""Whether promises can all be kept; where not, a smallest set of them that cannot, in words.

That promises clash is said only where it is proved. What proves it:

- a job that no crew can reach and come home from in time, even with nothing else to do and without its break;
- every way to put promised jobs into routes was tried in vain (`placing`), or a search on a day of nothing else says
  so by its bound: both only where no job that was left out could have helped (`detours`);
- the bound of the search on the whole day.

The smallest set is found by a deletion filter: promises leave the set one by one as long as the rest still cannot be
kept. Singles and pairs are tried first, so a set of one or two is the smallest there is.
"""

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

from .construct import Routes, construct, fill
from .detours import Reach, leaving_out_is_safe
from .finish import Clash, missing_promises
from .model import Model, build_model
from .params import Params
from .placing import OutOfTries, Tries, place_all
from .plan import Plan
from .problem import Crew, Job, Problem
from .stopping import RoundLimit, Stop, Watch, WatchUntil
from .timing import Broken, clock_words, schedule_route

MOST_SETS = 60
ROUNDS = 8
"""Rounds of a search where nothing is stopped by the clock."""
MOST_TRIES = 3_000
"""Routes tried for all promises together, and again for all sets of them: a fraction of a second."""
SET_TRIES = 300
"""Routes tried for one set before it is searched."""
SEARCH_SHARE = 0.3
"""Share of the time that is left for one search on a day of promised jobs alone."""
WORDS_SHARE = 0.2
"""Share of the time that is left for the smallest set, where the clash is known before the best plan is looked for."""

Settled = Callable[[Collection[str]], bool | None]
"""Whether these promises alone can all be kept; None where that is not settled."""
Over = Callable[[], bool]


@dataclass(frozen=True, slots=True)
class Look:
    """Routes that keep at least as many promises as those of before, and a clash where one is proved."""

    routes: Routes
    clash: Clash | None = None


class Promises:
    """The promises and fixed stops of one day."""

    def __init__(self, model: Model):
        self.model = model
        self._fixed = {job for prefix in model.prefix for job in prefix}
        self._promised = [j for j in range(model.job_count) if model.must_do[j] and j not in self._fixed]

    def first_look(self, routes: Routes, over: Over) -> Look:
        """What a bounded number of tries finds, without compiled code and whatever the time.

        `over` only ends the filling up with other jobs.
        """
        missing = missing_promises(self.model, routes)
        if not missing:
            return Look(routes)
        refuted = False
        try:
            kept = place_all(self.model, self._promised, Tries(MOST_TRIES))
            if kept is not None:
                return Look(fill(self.model, kept, over))
            refuted = self._safe
        except OutOfTries:
            pass
        return Look(routes, self._clash(missing, refuted, self._by_tries(), lambda: False))

    def second_look(self, look: Look, watch: Watch) -> Look:
        """What a search on a day of the promised jobs alone finds, which is settled far sooner than the whole day.

        Nothing more where other jobs might help to keep them.
        """
        missing = missing_promises(self.model, look.routes)
        all_are = len(self._promised) + len(self._fixed) == self.model.job_count
        if look.clash or not missing or all_are or not self._safe:
            return look
        found = _searched(_only(self.model.problem, self.model.ids(self._promised)), _part(watch))
        if found.refuted:
            return Look(look.routes, self.clash(missing, True, watch.share(WORDS_SHARE).started()))
        if missing_promises(found.model, found.routes):
            return look
        index = self.model.index_of_job
        kept = [[index[name] for name in found.model.ids(route)] for route in found.routes]
        return Look(fill(self.model, kept, lambda: watch.seconds_left() <= 0))

    def clash(self, missing: Sequence[int], refuted: bool, watch: Watch) -> Clash | None:
        """A smallest set of promises that cannot all be kept, as far as time goes; None where nothing is proved.

        `refuted`: whether it is proved already that they cannot all be kept.
        """
        return self._clash(missing, refuted, self._by_search(watch), lambda: watch.seconds_left() <= 0)

    def clash_of_part(self, routes: Routes, part: Plan) -> Clash | None:
        """What a plan of a part of the jobs proves for all of them: all promised are in it, others may be missing."""
        return Clash(part.reasons) if self._safe else self.alone(missing_promises(self.model, routes))

    def alone(self, missing: Sequence[int]) -> Clash | None:
        """A job that no crew could do even with nothing else to do, on every day a proof."""
        problem, reach = self.model.problem, self._reach
        hopeless = [j for j in missing if not any(reach.could(k, j) for k in range(self.model.crew_count))]
        fixed = [problem.fixed_crew[self.model.ids([j])[0]] for j in hopeless if j in self._fixed]
        words = tuple(sentence for crew in dict.fromkeys(fixed) for sentence in _fixed_words(problem, crew))
        if words or not hopeless:
            return Clash(words) if words else None
        return Clash((conflict_words(problem, self.model.ids(hopeless[:1])),))

    @cached_property
    def _reach(self) -> Reach:
        return Reach(self.model)

    @cached_property
    def _safe(self) -> bool:
        return leaving_out_is_safe(self.model)

    def _clash(self, missing: Sequence[int], refuted: bool, settled: Settled, over: Over) -> Clash | None:
        problem = self.model.problem
        alone = self.alone(missing)
        if alone:
            return alone
        if self._fixed and not over() and settled(()) is False:
            return Clash(tuple(words for crew in problem.fixed for words in _fixed_words(problem, crew)))
        smallest = smallest_conflict(self.model.ids(self._promised), self.model.ids(missing), settled, over)
        if smallest:
            return Clash((conflict_words(problem, smallest),))
        return Clash(()) if refuted else None

    def _by_tries(self) -> Settled:
        """Sets by trying everything, all of them together by so many tries."""
        tries = Tries(MOST_TRIES)
        return lambda names: self._tried(names, tries)

    def _by_search(self, watch: Watch) -> Settled:
        """Sets by a search where tries do not settle them: of a day of nothing else, or of the whole day with nothing
        else promised where others might help."""
        day = _only if self._safe else _promising

        def settled(names: Collection[str]) -> bool | None:
            tried = self._tried(names, Tries(SET_TRIES))
            if tried is not None:
                return tried
            found = _searched(day(self.model.problem, names), _part(watch))
            if found.refuted:
                return False
            return None if missing_promises(found.model, found.routes) else True

        return settled

    def _tried(self, names: Collection[str], tries: Tries) -> bool | None:
        try:
            found = place_all(self.model, [self.model.index_of_job[name] for name in names], tries)
        except OutOfTries:
            return None
        return True if found is not None else False if self._safe else None


def _fixed_words(problem: Problem, crew: str) -> Iterator[str]:
    route = schedule_route(problem, crew, problem.fixed[crew])
    if isinstance(route, Broken):
        yield f"the fixed stops of crew {crew} cannot be kept: {route.reason}"


def smallest_conflict(promised: Sequence[str], missing: Sequence[str], settled: Settled, over: Over) -> tuple[str, ...]:
    """Promises that cannot all be kept although any of them left out lets the rest be kept; () if unknown."""
    for size in (1, 2):
        for group in _groups(promised, missing, size):
            if over():
                return ()
            if settled(group) is False:
                return group
    return _deletion_filter(promised, settled, over)


def _groups(promised: Sequence[str], missing: Sequence[str], size: int) -> Iterator[tuple[str, ...]]:
    """Sets that hold a missing promise, at most MOST_SETS."""
    if size == 1:
        yield from ((name,) for name in missing if name in promised)
        return
    pairs = [pair for pair in combinations(promised, 2) if set(pair) & set(missing)]
    yield from pairs[:MOST_SETS]


def _deletion_filter(promised: Sequence[str], settled: Settled, over: Over) -> tuple[str, ...]:
    kept = list(promised)
    if over() or settled(kept) is not False:
        return ()
    for name in promised:
        rest = [other for other in kept if other != name]
        if over():
            return ()
        if settled(rest) is False:
            kept = rest
    return tuple(kept)


def _only(problem: Problem, names: Collection[str]) -> Problem:
    """The day with no other jobs than these and the fixed stops."""
    jobs = tuple(job for job in problem.jobs if job.id in names or job.id in problem.fixed_crew)
    return _promising(problem.replace(jobs=jobs), names)


def _promising(problem: Problem, names: Collection[str]) -> Problem:
    """The day on which nothing else is promised."""
    return problem.replace(jobs=tuple(replace(job, must_do=job.id in names) for job in problem.jobs))


@dataclass(frozen=True, slots=True)
class _Searched:
    model: Model
    routes: Routes
    refuted: bool
    """Whether it is proved that no plan keeps every promise."""


def _searched(problem: Problem, stop: Stop) -> _Searched:
    """A search that ends as soon as every promise is kept, or proved not to be."""
    from .optimiser import Optimiser

    model = build_model(problem)
    routes = construct(model)
    if not missing_promises(model, routes):
        return _Searched(model, routes, False)
    watch = WatchUntil(
        stop.started(), lambda: optimiser.promises_refuted or not missing_promises(model, optimiser.routes)
    )
    optimiser = Optimiser(model, routes, 1, Params(), watch)
    optimiser.run(lambda: None)
    return _Searched(model, optimiser.routes, optimiser.promises_refuted)


def _part(watch: Watch) -> Stop:
    return watch.share(SEARCH_SHARE) if watch.seconds_left() < float("inf") else RoundLimit(ROUNDS)


def conflict_words(problem: Problem, names: Sequence[str]) -> str:
    """The set in a sentence, with what its jobs share."""
    jobs = [problem.job_by_id[name] for name in names]
    if len(jobs) == 1:
        return f"{names[0]} cannot be kept: {_alone_words(problem, jobs[0])}"
    both = "both" if len(jobs) == 2 else "all"
    listed = f"{', '.join(names[:-1])} and {names[-1]}"
    return f"{listed} cannot {both} be kept: {both} need {_shared_words(problem, jobs)}"


def _alone_words(problem: Problem, job: Job) -> str:
    able = [crew for crew in problem.crews if _able(crew, job)]
    if not able:
        needs = f" with {', '.join(job.needs)}" if job.needs else ""
        return f"no crew{needs} may do it"
    reasons = []
    for crew in able:
        route = schedule_route(problem, crew.id, [*problem.fixed.get(crew.id, ()), job.id])
        if isinstance(route, Broken):
            reasons.append(route.reason)
    return "; ".join(dict.fromkeys(reasons)) or "no crew has the time"


def _able(crew: Crew, job: Job) -> bool:
    return set(job.needs) <= set(crew.skills) and (job.crews is None or crew.id in job.crews)


def _shared_words(problem: Problem, jobs: Sequence[Job]) -> str:
    crews = sorted({crew.id for crew in problem.crews for job in jobs if _able(crew, job)})
    last = max(closes for job in jobs for _, closes in job.windows)
    first = min(opens for job in jobs for opens, _ in job.windows)
    needs = set.intersection(*(set(job.needs) for job in jobs))
    who = f"crew {crews[0]}" if len(crews) == 1 else f"one of crews {', '.join(crews)}"
    skills = f" with {', '.join(sorted(needs))}" if needs else ""
    return f"{who}{skills} to begin between {clock_words(first)} and {clock_words(last)}"
