"""The day's solver: a `day-problem/1` in, a `day-plan/1` out. Knows nothing of Django."""

from .child import SolverFailed, SolverKilled, SolverProcess, solve_in_child, solver_process
from .evaluator import Evaluation, evaluate
from .params import OBJECTIVES, Objective, Params
from .plan import BestRatio, LeftOut, Plan, RoutePlan, Stop
from .problem import Break, Crew, Job, Overtime, Prefer, Problem
from .reader import Fault, MalformedProblem, load_json
from .reading import parse_plan, parse_problem
from .solve import solve
from .standby import keep_ready, ready_process
from .stopping import RoundLimit, TimeLimit
from .timing import Broken, schedule_route
from .warm import choose_cache_folder, warm_up
from .writing import plan_to_json, problem_to_json

choose_cache_folder()

__all__ = [
    "BestRatio",
    "Break",
    "Broken",
    "Crew",
    "Evaluation",
    "Fault",
    "Job",
    "LeftOut",
    "MalformedProblem",
    "OBJECTIVES",
    "Objective",
    "Overtime",
    "Params",
    "Plan",
    "Prefer",
    "Problem",
    "RoundLimit",
    "RoutePlan",
    "SolverFailed",
    "SolverKilled",
    "SolverProcess",
    "Stop",
    "TimeLimit",
    "evaluate",
    "keep_ready",
    "load_json",
    "parse_plan",
    "parse_problem",
    "plan_to_json",
    "problem_to_json",
    "ready_process",
    "schedule_route",
    "solve",
    "solve_in_child",
    "solver_process",
    "warm_up",
]
