"""The model as JSON for its row, and back. The covariance is packed: its lower triangle as 32-bit floats, base64."""

from base64 import b64decode, b64encode
from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any

import numpy as np

from pricing.catalogue.domain import FactorKind, MinutesFactor, RateTerms
from pricing.minutes.domain.model import MinutesModel, Spread, Vector

FORMAT = "minutes-model/1"
HIGH = "|2+"  # marks the counts of jobs on more than one storey


def model_to_json(model: MinutesModel) -> dict[str, Any]:
    """Plain values only."""
    return {
        "format": FORMAT,
        "rates": {code: asdict(_of_minutes(rate)) for code, rate in model.rates.items()},
        "columns": list(model.columns),
        "means": [float(mean) for mean in model.means],
        "covariance": _packed(model.covariance),
        "group_deviation": dict(model.group_deviation),
        "spreads": {code: [spread.deviation, spread.degrees] for code, spread in model.spreads.items()},
        "usual_spread": [model.usual_spread.deviation, model.usual_spread.degrees],
        "shape": list(model.shape),
        "mean_factor": model.mean_factor,
        "jobs": dict(model.jobs),
        "jobs_like": {code + HIGH * is_high: count for (code, is_high), count in model.jobs_like.items()},
        "misbooked_share": model.misbooked_share,
    }


def model_from_json(data: Mapping[str, Any]) -> MinutesModel:
    """Raises ``ValueError`` for another format."""
    if data.get("format") != FORMAT:
        raise ValueError(f"Expected {FORMAT}, got {data.get('format')!r}.")
    middle, high, higher = data["shape"]
    return MinutesModel(
        rates={code: _rate(rate) for code, rate in data["rates"].items()},
        columns={name: place for place, name in enumerate(data["columns"])},
        means=np.array(data["means"], dtype=np.float64),
        covariance=_unpacked(data["covariance"], len(data["columns"])),
        group_deviation=data["group_deviation"],
        spreads={code: Spread(*spread) for code, spread in data["spreads"].items()},
        usual_spread=Spread(*data["usual_spread"]),
        shape=(middle, high, higher),
        mean_factor=data["mean_factor"],
        jobs=data["jobs"],
        jobs_like={(key.removesuffix(HIGH), key.endswith(HIGH)): n for key, n in data["jobs_like"].items()},
        misbooked_share=data["misbooked_share"],
    )


def _of_minutes(rate: RateTerms) -> RateTerms:
    """Without what has no part in minutes."""
    return replace(rate, materials=(), surcharges=())


def _rate(data: Mapping[str, Any]) -> RateTerms:
    factors = (MinutesFactor(FactorKind(f["kind"]), f["level"], f["percent"]) for f in data["factors"])
    known = {name: data[name] for name in RateTerms.__slots__ if name in data}
    return RateTerms(**{**known, "factors": tuple(factors), "materials": (), "surcharges": ()})


def _packed(matrix: Vector) -> str:
    lower = matrix[np.tril_indices(len(matrix))]
    return b64encode(lower.astype("<f4").tobytes()).decode("ascii")


def _unpacked(text: str, size: int) -> Vector:
    matrix = np.zeros((size, size))
    lower = np.frombuffer(b64decode(text), dtype="<f4").astype(np.float64)
    matrix[np.tril_indices(size)] = lower
    return matrix + np.tril(matrix, -1).T
