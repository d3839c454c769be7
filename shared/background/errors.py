from shared.errors import WalldayError


class WorkerUnreachable(WalldayError):
    """What was asked is stored, but the work that should follow could not be handed to the workers."""

    code, status = "worker_unreachable", 503
