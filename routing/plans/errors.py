"""What can go wrong while planning, beyond shared.errors."""

from shared.errors import Conflict, Refused, WalldayError


class NothingToPlan(Refused):
    """There is no crew on shift, or no job whose days include this one."""

    code = "nothing_to_plan"


class BrokenRule(Refused):
    """A change by hand breaks a rule of the day; the message says which, at which job and by how much."""

    code = "broken_rule"


class PlanningFailed(WalldayError):
    """The solver ended without a plan, or its plan did not pass the evaluator. Nothing was stored."""

    code, status = "planning_failed", 500


class NotDecided(Conflict):
    """The time was over before it was found or refuted that all promises can be kept. Nothing was stored."""

    code = "not_decided_in_time"


class AlreadyPlanning(Conflict):
    """Another run for the same day is not finished yet."""

    code = "already_planning"
