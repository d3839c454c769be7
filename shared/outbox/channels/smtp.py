"""Mail through an SMTP server (RFC 5321), over Django's backend and its EMAIL_* settings.

A server's own answer is definite: a reply of 4yz or 5yz means that the requested action did not occur (RFC 5321,
4.2.1), the first may be tried again. A connection that breaks off after it was opened is not: the result is unknown.
"""

from smtplib import SMTP, SMTPRecipientsRefused, SMTPResponseException

from django.core.mail.backends.smtp import EmailBackend

from shared.outbox.channels.mime import mime_message
from shared.outbox.errors import NotSent
from shared.outbox.models import Message

TEMPORARY = range(400, 500)


def send_mail(message: Message) -> str:
    mail = mime_message(message)
    server = EmailBackend()
    connection = _open(server)
    try:
        connection.send_message(mail)
    except SMTPRecipientsRefused as error:
        code, reply = next(iter(error.recipients.values()))
        raise _refusal(code, reply) from error
    except SMTPResponseException as error:
        raise _refusal(error.smtp_code, error.smtp_error) from error
    finally:
        _close(server)
    return str(mail["Message-ID"])


def _open(server: EmailBackend) -> SMTP:
    """Whatever goes wrong before the connection stands, no message was handed over."""
    try:
        server.open()
    except OSError as error:
        raise NotSent(f"The mail server cannot be reached: {error}", again=True) from error
    if server.connection is None:
        raise NotSent("The mail server cannot be reached.", again=True)
    return server.connection


def _close(server: EmailBackend) -> None:
    """The message was answered for by now; a server that hangs up rudely changes nothing."""
    try:
        server.close()
    except OSError:
        server.connection = None


def _refusal(code: int, reply: bytes | str) -> NotSent:
    text = reply.decode(errors="replace") if isinstance(reply, bytes) else reply
    return NotSent(f"The mail server answered {code} {text}"[:500], again=code in TEMPORARY)
