"""Turns the product's own errors into an answer in one place, and holds the company for the length of a request."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers

from shared.errors import WalldayError
from shared.web.present import request_begins, request_ends
from shared.web.views import API_PREFIX, problem


class ErrorPages:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request_begins()
        try:
            response = self.get_response(request)
        finally:
            request_ends()
        if getattr(request, "htmx", None):
            patch_vary_headers(response, ["HX-Request"])
        return response

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if not isinstance(error, WalldayError) or request.path.startswith(API_PREFIX):
            return None
        return problem(request, error)
