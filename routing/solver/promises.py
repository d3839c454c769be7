"""Why promises cannot be kept: a smallest set of them that cannot all be kept, in words.

Each set is tried on a day that holds nothing but the promises in question, where a plan that keeps
them is found, or proved not to exist, quickly. Promises leave the set one by one as long as the rest
still cannot be kept (a deletion filter); singles and pairs are tried first, so a set of one or two is
the smallest there is.
"""

from collections.abc import Callable, Collection, Iterator, Sequence
from itertools import combinations

from .model import Model
from .problem import Crew, Job, Problem
from .stopping import RoundLimit
from .timing import Broken, clock_words, schedule_route

MOST_SETS = 60
ROUNDS = 8

Over = Callable[[], bool]


def why_not_kept(model: Model, missing: Sequence[int], proved: bool, over: Over) -> tuple[str, ...]:
    """Sentences: what cannot be kept together and why, or that it was only not found."""
    problem = model.problem
    broken = [words for crew in problem.fixed for words in _fixed_words(problem, crew)]
    if broken:
        return tuple(broken)
    promised = [job.id for j, job in enumerate(problem.jobs) if model.must_do[j]]
    names = [problem.jobs[j].id for j in missing]
    smallest = smallest_conflict(problem, promised, names, over)
    if smallest:
        return (conflict_words(problem, smallest),)
    listed = ", ".join(names)
    if proved:
        return (f"not all promises can be kept; the best plan leaves out {listed}",)
    return (f"no plan was found that keeps {listed}; it is not proved that there is none",)


def _fixed_words(problem: Problem, crew: str) -> Iterator[str]:
    route = schedule_route(problem, crew, problem.fixed[crew])
    if isinstance(route, Broken):
        yield f"the fixed stops of crew {crew} cannot be kept: {route.reason}"


def smallest_conflict(problem: Problem, promised: Sequence[str], missing: Sequence[str], over: Over) -> tuple[str, ...]:
    """Promises that cannot all be kept although any of them left out lets the rest be kept; () if unknown."""
    for size in (1, 2):
        for group in _groups(promised, missing, size):
            if over():
                return ()
            if _kept(problem, group) is False:
                return group
    return _deletion_filter(problem, promised, over)


def _groups(promised: Sequence[str], missing: Sequence[str], size: int) -> Iterator[tuple[str, ...]]:
    """Sets that hold a missing promise, at most MOST_SETS."""
    if size == 1:
        yield from ((name,) for name in missing)
        return
    pairs = [pair for pair in combinations(promised, 2) if set(pair) & set(missing)]
    yield from pairs[:MOST_SETS]


def _deletion_filter(problem: Problem, promised: Sequence[str], over: Over) -> tuple[str, ...]:
    kept = list(promised)
    if over() or _kept(problem, kept) is not False:
        return ()
    for name in promised:
        rest = [other for other in kept if other != name]
        if over():
            return ()
        if _kept(problem, rest) is False:
            kept = rest
    return tuple(kept)


def _kept(problem: Problem, names: Collection[str]) -> bool | None:
    """Whether these promises alone can all be kept; None where it was not settled."""
    from .optimiser import Optimiser
    from .params import Params
    from .solve import prepared

    fixed = {job for jobs in problem.fixed.values() for job in jobs}
    jobs = tuple(job for job in problem.jobs if job.id in names or job.id in fixed)
    model, routes = prepared(problem.replace(jobs=jobs))
    if sum(map(len, routes)) == len(jobs):
        return True
    optimiser = Optimiser(model, routes, 1, Params(), RoundLimit(ROUNDS).started())
    optimiser.run(lambda: None)
    if sum(map(len, optimiser.routes)) == len(jobs):
        return True
    return False if optimiser.promises_refuted else None


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
