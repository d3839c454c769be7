"""What every template may use."""

from typing import Any

from django.http import HttpRequest

from shared.company.selectors import company_get


def page(request: HttpRequest) -> dict[str, Any]:
    return {"company": company_get()}
