"""The child's side of `child.SolverProcess`: run as `python -m routing.solver.worker`.

One request a line on standard input, one line per better plan out; the last plan of a request says that it is
final. When its input ends, so does the child, whatever it is doing: nobody is left to hear the answer.
"""

import json
import os
import resource
import sys
import threading
import time
from collections.abc import Callable
from queue import SimpleQueue
from typing import Any

from .child import DEFAULT_MEMORY_BYTES, MEMORY_VARIABLE
from .params import Params
from .plan import Plan
from .reading import parse_problem
from .solve import solve
from .stopping import LEAST_SECONDS, TimeLimit
from .warm import load_compiled
from .writing import plan_to_json

OUT_OF_MEMORY = 3

Tell = Callable[[dict[str, Any]], None]


def main() -> int:
    """Answer requests until memory runs out or, in `_listen`, the input ends."""
    memory = int(os.environ.get(MEMORY_VARIABLE, DEFAULT_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    output, sys.stdout = sys.stdout, sys.stderr  # nothing that a library prints may mix in

    def tell(message: dict[str, Any]) -> None:
        output.write(json.dumps(message) + "\n")
        output.flush()

    requests: SimpleQueue[str] = SimpleQueue()
    threading.Thread(target=_listen, args=(requests,), daemon=True).start()
    threading.Thread(target=load_compiled, daemon=True).start()  # the first plan does not wait for it
    try:
        while True:
            _answer(json.loads(requests.get()), tell)
    except MemoryError:
        tell({"error": "out of memory"})
        return OUT_OF_MEMORY


def _listen(requests: "SimpleQueue[str]") -> None:
    for line in sys.stdin:
        requests.put(line)
    os._exit(0)


def _answer(request: dict[str, Any], tell: Tell) -> None:
    def say(plan: Plan, final: bool = False) -> None:
        tell({"plan": plan_to_json(plan), "final": final})

    plan = solve(
        parse_problem(request["problem"]),
        stop=TimeLimit(max(LEAST_SECONDS, request["until"] - time.monotonic())),
        seed=request["seed"],
        params=Params(objective=request["objective"]),
        first=request["first"],
        on_progress=say,
    )
    say(plan, final=True)


if __name__ == "__main__":
    os._exit(main())  # threads may be in the middle of something
