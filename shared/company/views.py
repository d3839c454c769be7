from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from shared.company.forms import CompanyForm
from shared.company.selectors import company_get
from shared.company.services import company_update
from shared.people.roles import owner_required


@require_http_methods(["GET", "HEAD", "POST"])
@owner_required
def company(request: HttpRequest) -> HttpResponse:
    """The firm's name, address and settings, for the owner."""
    found = company_get()
    form = CompanyForm(request.POST or None, instance=found, initial={"phone": found.phone_e164})
    if request.method == "POST" and form.is_valid():
        company_update(actor=request.user, **form.values())
        messages.success(request, _("The company's settings are stored."))
        return redirect("company:company")
    return render(request, "company/company.html", {"form": form}, status=422 if form.errors else 200)
