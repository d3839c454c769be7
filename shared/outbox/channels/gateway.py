"""Text messages through a gateway by URL: one JSON POST for each message.

Request: `{"to": "+15555550100", "text": "...", "reference": "<uuid>"}` with the headers `Authorization: Bearer ...`
(where a token is set) and `Idempotency-Key: "<uuid>"`, the same for every attempt. Answer: any 2xx, best with
`{"id": "..."}`. A redirect is not followed.
"""

import ssl
from collections.abc import Iterator

import requests
import urllib3.exceptions
from django.conf import settings

from shared.outbox.errors import NotSent
from shared.outbox.models import Message

CONNECT_SECONDS, ANSWER_SECONDS = 5, 20
NEVER_REACHED = (
    urllib3.exceptions.NewConnectionError,
    urllib3.exceptions.ConnectTimeoutError,
    ssl.SSLCertVerificationError,
)
# Answers that say for certain that the message was not taken: later may help with the first group (too many
# requests, or our settings must be mended first), never with the second.
TRY_LATER = {401, 403, 404, 429}
NEVER = {400, 405, 410, 413, 414, 415, 422}


def send_text(message: Message) -> str:
    try:
        answer = _post(message)
    except (requests.exceptions.InvalidURL, requests.exceptions.InvalidSchema, requests.exceptions.MissingSchema) as e:
        raise NotSent(f"WALLDAY_TEXT_URL is not an address: {e}", again=True) from e
    except requests.RequestException as error:
        if any(isinstance(link, NEVER_REACHED) for link in _links(error)):
            raise NotSent(f"The text gateway cannot be reached: {error}"[:500], again=True) from error
        raise
    _check(answer)
    return _reference(answer)


def _post(message: Message) -> requests.Response:
    key = str(message.idempotency_key)
    headers = {"Idempotency-Key": f'"{key}"'}
    if settings.WALLDAY_TEXT_TOKEN:
        headers["Authorization"] = f"Bearer {settings.WALLDAY_TEXT_TOKEN}"
    with requests.Session() as session:
        session.trust_env = False  # no credentials or proxies that the settings do not name
        return session.post(
            settings.WALLDAY_TEXT_URL,
            json={"to": message.recipient, "text": message.body, "reference": key},
            headers=headers,
            timeout=(CONNECT_SECONDS, ANSWER_SECONDS),
            allow_redirects=False,
        )


def _check(answer: requests.Response) -> None:
    """Raises NotSent for a definite no, RuntimeError where the answer leaves it open."""
    if answer.status_code in TRY_LATER | NEVER:
        problem = f"The text gateway answered {answer.status_code} {answer.text[:300]}"
        raise NotSent(problem, again=answer.status_code in TRY_LATER)
    if not 200 <= answer.status_code < 300:
        raise RuntimeError(f"The text gateway answered {answer.status_code}, which leaves the result open.")


def _reference(answer: requests.Response) -> str:
    try:
        body = answer.json()
    except ValueError:
        return ""
    return str(body.get("id", ""))[:200] if isinstance(body, dict) else ""


def _links(error: BaseException | None) -> Iterator[BaseException]:
    """The error, what it was raised from, and what urllib3 wrapped."""
    seen: list[BaseException] = []
    waiting = [error]
    while waiting:
        link = waiting.pop()
        if isinstance(link, BaseException) and link not in seen:
            seen.append(link)
            waiting += [link.__cause__, link.__context__, getattr(link, "reason", None), *_wrapped(link)]
    yield from seen


def _wrapped(error: BaseException) -> list[BaseException]:
    return [part for part in error.args if isinstance(part, BaseException)]
