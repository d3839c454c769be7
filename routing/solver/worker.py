"""The child's side of `child.solve_in_child`: run as `python -m routing.solver.worker`."""

import json
import os
import resource
import sys
from typing import Any

from .child import DEFAULT_MEMORY_BYTES, MEMORY_VARIABLE
from .params import Params
from .reading import parse_problem
from .solve import solve
from .stopping import TimeLimit
from .writing import plan_to_json


def main() -> int:
    """The child's side: a request on standard input, one JSON line per better plan out."""
    memory = int(os.environ.get(MEMORY_VARIABLE, DEFAULT_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    output, sys.stdout = sys.stdout, sys.stderr  # nothing that a library prints may mix in

    def tell(message: dict[str, Any]) -> None:
        output.write(json.dumps(message) + "\n")
        output.flush()

    try:
        request = json.load(sys.stdin)
        problem = parse_problem(request["problem"])
        stop = TimeLimit(request["seconds"])
        plan = solve(
            problem,
            stop=stop,
            seed=request["seed"],
            params=Params(objective=request["objective"]),
            first=request["first"],
            on_progress=lambda better: tell({"plan": plan_to_json(better)}),
        )
        tell({"plan": plan_to_json(plan)})
    except MemoryError:
        tell({"error": "out of memory"})
        return 3
    return 0


if __name__ == "__main__":
    sys.exit(main())
