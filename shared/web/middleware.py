"""Turns the product's own errors into an answer in one place, and holds the company for the length of a request."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers

from shared.errors import WalldayError
from shared.web.present import request_begins, request_ends
from shared.web.views import API_PREFIX, problem, wrong_way

NOT_THIS_WAY = 405


class ErrorPages:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request_begins()
        try:
            response = self._answered(request)
        finally:
            request_ends()
        if getattr(request, "htmx", None):
            patch_vary_headers(response, ["HX-Request"])
        return response

    def _answered(self, request: HttpRequest) -> HttpResponse:
        """The answer; one that Django leaves empty, for an address that takes forms only, says so in words."""
        response = self.get_response(request)
        if response.status_code == NOT_THIS_WAY and not response.content and not request.path.startswith(API_PREFIX):
            response.content = wrong_way(request).content
        return response

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if not isinstance(error, WalldayError) or request.path.startswith(API_PREFIX):
            return None
        return problem(request, error)
