"""The link and the mailbox's button that end messages."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from jobs.customers.models import Customer
from jobs.reminders.forms import OptOutForm
from jobs.reminders.links import opt_out_target
from jobs.reminders.services import opt_out_record
from shared import clock
from shared.outbox.models import Channel
from shared.signed_links import LinkRefused


@csrf_exempt  # RFC 8058: the mailbox posts without ever having loaded a page; the signed address is the key
@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def opt_out(request: HttpRequest, token: str) -> HttpResponse:
    """The homeowner's page. Looking at it changes nothing; sending the form, or one click in the mailbox, does."""
    target = opt_out_target(token)
    customer = Customer.objects.filter(pk=target[0]).first() if target else None
    if target is None or customer is None:
        raise LinkRefused(_("This link is not complete. Open it again from the message."))
    with translation.override(customer.language):
        done = _opt_out(request, customer, target[1]) if request.method == "POST" else ""
        context = {"channel": target[1], "done": done, "address": _masked(customer, target[1])}
        return render(request, "reminders/opt_out.html", context)


def _opt_out(request: HttpRequest, customer: Customer, channel: Channel) -> str:
    form = OptOutForm(request.POST)
    everything = form.is_valid() and form.cleaned_data["scope"] == "all"
    one_click = request.POST.get("List-Unsubscribe") == "One-Click"
    opt_out_record(
        customer=customer,
        channel=channel,
        everything=everything,
        wording=str(_("No messages of any kind") if everything else _("No more reminders")),
        source="one-click" if one_click else "opt-out page",
        now=clock.now(),
    )
    return "all" if everything else "reminder"


def _masked(customer: Customer, channel: Channel) -> str:
    """Enough of the address to know it by, not enough to read it: the link may be forwarded."""
    if channel == Channel.TEXT:
        return f"…{customer.phone_e164[-4:]}"
    name, _at, host = customer.email.partition("@")
    return f"{name[:1]}…@{host}" if host else "…"
