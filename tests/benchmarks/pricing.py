# ruff: noqa: T201  printing tables is what this program is for
"""How well the minutes are learnt, on simulated companies whose truth is known. Prints tables.

    python -m tests.benchmarks.pricing [--quick]

Each company has the product's starting card and strays from it in its own way: as a whole, by service, size, storeys,
access, soil, chalk, material, crew and season. Its jobs scatter by 15 to 32 % with trouble now and then (a job twice
as long), and some are booked wrong: four minutes, a forgotten clock, a digit too many. From a history of so many jobs
each method says how long 300 further jobs will take; these are judged by what they truly take, slips left out.

1. Coverage: the share of further jobs within the 80 % and 90 % quantiles; wanted 78-82 % and 88-92 %.
2. Error of the mean against each job's true expected minutes, beside the average of each service, the average per
   unit of each service, and scikit-learn's log-linear ridge, Huber regression and boosted trees as they come. Wanted:
   at least 30 % below the plain average, and below each of the others.
3. The verdicts of the earnings report: false alarms, by the tables of ``tests.benchmarks.earnings``.

Seeded: the same numbers on every machine. Exits 1 where a target is missed.
"""

import argparse
import sys
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from math import exp, log

import numpy as np
from threadpoolctl import threadpool_limits

from pricing.catalogue.defaults import SERVICES
from pricing.catalogue.domain import Access, RateTerms, Soil
from pricing.minutes.domain.card import card_minutes
from pricing.minutes.domain.features import JobFeatures, Observation, Season
from pricing.minutes.domain.fitting import fit_minutes
from pricing.minutes.domain.forecast import expected_minutes
from tests.benchmarks import earnings

FURTHER_JOBS = 300
HISTORIES = (60, 250, 1200)
COVERAGE = {0.8: (0.78, 0.82), 0.9: (0.88, 0.92)}
LEAST_GAIN = 0.30
SLIP_SHARE, TROUBLE_SHARE = 0.03, 0.03
MATERIALS = ("vinyl", "vinyl", "vinyl", "brick", "painted_wood")
Minutes = np.ndarray


def card() -> dict[str, RateTerms]:
    """The starting values of the product."""
    return {
        s.code: RateTerms(
            s.code, s.name, str(s.unit), s.price_cents_per_100_units, s.minimum_price_cents,
            s.materials_cents_per_100_units, s.setup_minutes, s.units_per_crew_hour, s.units_per_crew_hour_high,
        )
        for s in SERVICES
    }  # fmt: skip


@dataclass
class Company:
    """The truth about one company. Effects are drawn when they are first asked for."""

    rng: np.random.Generator
    rates: dict[str, RateTerms]
    drawn: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        mix = self.rng.dirichlet([0.9] * len(self.rates))
        self.mix = 0.85 * mix + 0.15 / len(self.rates)
        self.crews = [f"crew{k}" for k in range(self.rng.integers(1, 6))]

    def effect(self, name: str, deviation: float, middle: float = 0.0) -> float:
        if name not in self.drawn:
            self.drawn[name] = self.rng.normal(middle, deviation)
        return self.drawn[name]

    def spread(self, service: str) -> float:
        if f"spread {service}" not in self.drawn:
            self.drawn[f"spread {service}"] = self.rng.uniform(0.15, 0.32)
        return self.drawn[f"spread {service}"]

    def expected(self, job: JobFeatures) -> float:
        """True expected minutes, trouble included."""
        service, rate = job.service_code, self.rates[job.service_code]
        total = log(card_minutes(rate, job)) + self.effect("company", 0.15, 0.05) + self.effect(service, 0.2)
        total += self.effect(f"size {service}", 0.1, -0.05) * log(job.quantity / (1.5 * rate.units_per_crew_hour))
        total += (job.storeys - 1) * self.effect(f"storeys {service}", 0.08, 0.04)
        if job.access == Access.TIGHT:
            total += self.effect("tight", 0.08, 0.18) + self.effect(f"tight {service}", 0.05)
        if job.access == Access.EASY:
            total += self.effect("easy", 0.04, -0.06)
        if job.soil == Soil.HEAVY:
            total += self.effect("heavy", 0.08, 0.16) + self.effect(f"heavy {service}", 0.05)
        if job.soil == Soil.LIGHT:
            total += self.effect("light", 0.04, -0.08)
        total += (job.chalk_reading or 0) * self.effect(f"chalk {service}", 0.03, 0.02)
        if job.material != "vinyl":
            total += self.effect(job.material, 0.08, 0.05)
        total += self.effect(job.crew_code, 0.08) + self.effect(f"{job.crew_code} {service}", 0.04)
        return exp(total + self.effect(f"season {job.season}", 0.05))

    def job(self) -> JobFeatures:
        rng = self.rng
        rate = self.rates[str(rng.choice(list(self.rates), p=self.mix))]
        return JobFeatures(
            rate.service_code,
            max(1, round(rate.units_per_crew_hour * 1.4 * rng.lognormal(0, 0.4))),
            int(rng.choice([1, 2, 3], p=[0.45, 0.5, 0.05])),
            Access(rng.choice(list(Access), p=[0.15, 0.65, 0.2])),
            Soil(rng.choice(list(Soil), p=[0.2, 0.6, 0.2])),
            float(rng.choice([0, 0, 1, 2, 3])) if rng.random() < 0.7 else None,
            str(rng.choice(MATERIALS)),
            str(rng.choice(self.crews)),
            Season(rng.choice(list(Season), p=[0.1, 0.35, 0.3, 0.25])),
        )

    def minutes(self, job: JobFeatures) -> float:
        """What the job takes this time: its mean over many times is ``expected``."""
        spread = self.spread(job.service_code)
        trouble = self.rng.uniform(1.4, 2.2) if self.rng.random() < TROUBLE_SHARE else 1.0
        level = log(1 + TROUBLE_SHARE * 0.8) + spread**2 / 2
        return max(1.0, self.expected(job) * trouble * self.rng.lognormal(-level, spread))

    def booked(self, job: JobFeatures) -> Observation:
        """What the crew writes down: usually the truth."""
        minutes = self.minutes(job)
        if self.rng.random() < SLIP_SHARE:
            minutes = float(self.rng.choice([4.0, minutes * 0.1, minutes * 10, minutes * 4]))
        return Observation(job, float(max(1, round(minutes))))


Method = Callable[[list[Observation], list[JobFeatures]], Minutes]


def average(history: list[Observation], jobs: list[JobFeatures]) -> Minutes:
    """The plain average of each service's minutes; of all jobs for a service without any."""
    whole = float(np.mean([b.minutes for b in history]))
    means = {code: float(np.mean(rows)) for code, rows in _by_service(history, per_unit=False).items()}
    return np.array([means.get(job.service_code, whole) for job in jobs])


def average_per_unit(history: list[Observation], jobs: list[JobFeatures]) -> Minutes:
    """Minutes per unit of each service times the quantity; the plain average for a service without any job."""
    rates = {code: float(np.mean(rows)) for code, rows in _by_service(history, per_unit=True).items()}
    plain = average(history, jobs)
    return np.array(
        [rates[j.service_code] * j.quantity if j.service_code in rates else p for j, p in zip(jobs, plain, strict=True)]
    )


def _by_service(history: list[Observation], *, per_unit: bool) -> dict[str, list[float]]:
    rows: dict[str, list[float]] = {}
    for booked in history:
        by = booked.features.quantity if per_unit else 1
        rows.setdefault(booked.features.service_code, []).append(booked.minutes / by)
    return rows


def peer(name: str) -> Method:
    """A regression of scikit-learn with its own settings, on log minutes with Duan's smearing back to minutes."""
    from sklearn.ensemble import HistGradientBoostingRegressor
    from sklearn.feature_extraction import DictVectorizer
    from sklearn.linear_model import HuberRegressor, Ridge
    from sklearn.pipeline import make_pipeline

    regression = {"ridge": Ridge, "huber": HuberRegressor, "trees": HistGradientBoostingRegressor}[name]
    rates = card()

    def predict(history: list[Observation], jobs: list[JobFeatures]) -> Minutes:
        model = make_pipeline(DictVectorizer(sparse=False), regression())
        target = np.log([b.minutes for b in history])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Huber's default number of steps is often not enough; that is the point
            model.fit([row(b.features) for b in history], target)
        smear = float(np.mean(np.exp(target - model.predict([row(b.features) for b in history]))))
        return np.exp(model.predict([row(job) for job in jobs])) * smear

    def row(job: JobFeatures) -> dict[str, object]:
        """Everything that ours gets, the card included."""
        return {
            "service": job.service_code, "log_quantity": log(job.quantity), "storeys": job.storeys,
            "access": str(job.access), "soil": str(job.soil), "chalk": job.chalk_reading or 0.0,
            "material": job.material, "crew": job.crew_code, "season": str(job.season),
            "log_card": log(card_minutes(rates[job.service_code], job)),
        }  # fmt: skip

    return predict


@dataclass
class Tally:
    """Sums over companies for one length of history."""

    within: dict[float, int] = field(default_factory=lambda: dict.fromkeys(COVERAGE, 0))
    jobs: int = 0
    errors: dict[str, float] = field(default_factory=dict)

    def share(self, level: float) -> float:
        return self.within[level] / self.jobs

    def gain(self, other: str) -> float:
        return 1 - self.errors["ours"] / self.errors[other]


def simulate(companies: int, history: int, others: dict[str, Method], first_seed: int) -> Tally:
    """Fit and forecast for so many companies."""
    tally = Tally()
    for number in range(companies):
        company = Company(np.random.default_rng([first_seed, history, number]), card())
        booked = [company.booked(company.job()) for _ in range(history)]
        jobs = [company.job() for _ in range(FURTHER_JOBS)]
        _judge(tally, company, booked, jobs, others)
    return tally


def _judge(
    tally: Tally, company: Company, booked: list[Observation], jobs: list[JobFeatures], others: dict[str, Method]
) -> None:
    model = fit_minutes(booked, company.rates)
    forecasts = [expected_minutes(job, company.rates[job.service_code], model) for job in jobs]
    real = [company.minutes(job) for job in jobs]
    for level in COVERAGE:
        tally.within[level] += sum(m <= f.quantile(level) for m, f in zip(real, forecasts, strict=True))
    tally.jobs += len(jobs)
    truth = np.array([company.expected(job) for job in jobs])
    said = {"ours": np.array([f.mean for f in forecasts])}
    said |= {name: method(booked, jobs) for name, method in others.items()}
    for name, minutes in said.items():
        tally.errors[name] = tally.errors.get(name, 0.0) + float(np.abs(minutes - truth).sum())


def peers() -> dict[str, Method]:
    """The averages, and scikit-learn's regressions where it is installed (extra ``bench``)."""
    found: dict[str, Method] = {"average": average, "per unit": average_per_unit}
    try:
        return found | {name: peer(name) for name in ("ridge", "huber", "trees")}
    except ImportError:
        print("scikit-learn is not installed (extra `bench`): its columns are left out, and with them their targets.")
        return found


def minutes_tables(companies: int, others: dict[str, Method]) -> bool:
    """Tables 1 and 2; False where a target is missed."""
    tallies = {history: simulate(companies, history, others, first_seed=1) for history in HISTORIES}
    print(f"Share of further jobs within the quantile, in percent ({companies} companies, {FURTHER_JOBS} jobs each)")
    for history, tally in tallies.items():
        cells = "   ".join(f"{level:.0%}: {100 * tally.share(level):5.1f}" for level in COVERAGE)
        print(f"  {history:5} jobs known   {cells}")
    print("Mean absolute error of the mean, minutes (ours less than theirs by, in percent)")
    for history, tally in tallies.items():
        ours = f"ours {tally.errors['ours'] / tally.jobs:5.1f}"
        cells = (f"{name} {tally.errors[name] / tally.jobs:5.1f} ({100 * tally.gain(name):3.0f})" for name in others)
        print(f"  {history:5} jobs known   {ours}   " + "   ".join(cells))
    return all(_met(tally, others) for tally in tallies.values())


def _met(tally: Tally, others: dict[str, Method]) -> bool:
    covered = all(low <= tally.share(level) <= high for level, (low, high) in COVERAGE.items())
    return covered and tally.gain("average") >= LEAST_GAIN and all(tally.gain(name) > 0 for name in others)


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a twentieth of the companies and histories")
    quick = parser.parse_args().quick
    others = peers()  # before the limit, which holds for libraries that are loaded
    with threadpool_limits(1):  # the matrices are small: threads would only wait for each other
        good = minutes_tables(6 if quick else 120, others)
    print("The verdicts of the earnings report:")
    good &= earnings.false_alarms(250 if quick else 5_000)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
