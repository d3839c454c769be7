"""A message row as an internet message (RFC 5322), the same bytes for every way out."""

from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

from shared.company.models import Company
from shared.company.selectors import company_get
from shared.outbox.errors import NotSent
from shared.outbox.models import Message


def mime_message(message: Message) -> EmailMessage:
    """Build the mail. Raises NotSent where an address or a header cannot be written."""
    try:
        return _mime_message(message, company_get())
    except (ValueError, IndexError, MessageError) as error:
        raise NotSent(f"The mail could not be written: {error}", again=False) from error


def message_id(message: Message, sender: str) -> str:
    """The same for every attempt, so that a mailbox can see that two copies are one message."""
    return f"<message-{message.pk}.{message.idempotency_key.hex}@{sender.rpartition('@')[2]}>"


def _mime_message(message: Message, company: Company) -> EmailMessage:
    if not company.email:
        raise NotSent("The company has no email address to send from; set it under Company.", again=True)
    mail = EmailMessage(policy=SMTP)
    mail["From"] = Address(company.name, addr_spec=company.email)
    mail["To"] = Address(message.recipient_name, addr_spec=message.recipient)
    mail["Subject"] = message.subject
    mail["Date"] = format_datetime(message.claimed_at or message.created_at)
    mail["Message-ID"] = message_id(message, company.email)
    for name, value in message.headers.items():
        mail[name] = value
    mail.set_content(message.body)
    mail["Content-Language"] = message.language  # after the content, which clears all that begins with Content
    return mail
