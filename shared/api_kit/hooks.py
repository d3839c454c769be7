"""Requests that providers send us, signed after the Standard Webhooks specification (standardwebhooks.com).

Headers `webhook-id`, `webhook-timestamp` (at most five minutes off) and `webhook-signature`: HMAC-SHA256 over
`id.timestamp.body` under a shared secret. A request without a good signature is refused before its body is read.
"""

import json
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST
from standardwebhooks import Webhook, WebhookVerificationError

from shared.api_kit.problems import problem_answer
from shared.errors import WalldayError

LARGEST_BODY = 64 * 1024
Handler = Callable[[str, dict[str, Any]], None]


def signed_hook(handle: Handler) -> Callable[[HttpRequest], HttpResponse]:
    """A view that hands `handle(event id, body)` each request with a good signature.

    204 when it was taken in (again, too: providers repeat), 401 for a bad signature, 413 for a body that is too
    large, 422 for one that cannot be understood, 404 where hooks are off.
    """

    @csrf_exempt
    @login_not_required
    @require_POST
    @wraps(handle)
    def view(request: HttpRequest) -> HttpResponse:
        if not settings.WALLDAY_HOOK_SECRET:
            return problem_answer(status=404, instance=request.path)
        if int(request.META.get("CONTENT_LENGTH") or 0) > LARGEST_BODY:
            return problem_answer(status=413, instance=request.path)
        if not _is_signed(request):
            return problem_answer(status=401, instance=request.path)
        try:
            body = json.loads(request.body)
        except ValueError:
            body = None
        if not isinstance(body, dict):
            return problem_answer(status=422, instance=request.path, detail="Expected a JSON object.")
        try:
            handle(request.headers["webhook-id"][:200], body)
        except WalldayError as error:
            return problem_answer(status=error.status, instance=request.path, detail=error.message)
        return HttpResponse(status=204)

    return view


def _is_signed(request: HttpRequest) -> bool:
    try:
        Webhook(settings.WALLDAY_HOOK_SECRET).verify(request.body, dict(request.headers), json_parse=False)
    except (WebhookVerificationError, ValueError, KeyError):  # a header that is not even base64 raises ValueError
        return False
    return True
