class NotSent(Exception):
    """The provider certainly did not take the message. `again` says whether trying later may help.

    Every other exception while sending leaves the result unknown.
    """

    def __init__(self, problem: str, *, again: bool) -> None:
        super().__init__(problem)
        self.problem = problem
        self.again = again
