from drf_spectacular.openapi import AutoSchema


class ProblemSchema(AutoSchema):
    """Adds the problem details that every operation may answer with."""
