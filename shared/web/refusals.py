"""What a service refuses, said on the page of the thing that was to be changed."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from shared.errors import WalldayError

Change = Callable[..., HttpResponse]


def words_instead_of_errors(page: str, key: str) -> Callable[[Change], Change]:
    """A decorator for views that change one thing: a refusal leads to its page, which shows the present state.

    `page` is the name of that page's route, `key` that of the argument by which route and view know the thing.
    """

    def decorated(view: Change) -> Change:
        @wraps(view)
        def guarded(request: HttpRequest, **kwargs: Any) -> HttpResponse:
            try:
                return view(request, **kwargs)
            except WalldayError as error:
                messages.error(request, error.message)
            except ValidationError as error:
                messages.error(request, " ".join(error.messages))
            answer: HttpResponse = redirect(page, **{key: kwargs[key]})
            return answer

        return guarded

    return decorated
