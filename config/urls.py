"""Where every room's pages and API hang. Each room names its own addresses in urls.py and api.py."""

from django.contrib import admin
from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView

PAGES = [
    "shared.people.urls",
    "shared.company.urls",
    "shared.web.urls",
    "shared.outbox.urls",
    "pricing.catalogue.urls",
    "pricing.estimates.urls",
    "pricing.minutes.urls",
    "pricing.earnings.urls",
    "pricing.costs.urls",
    "pricing.triage.urls",
    "jobs.customers.urls",
    "jobs.mixing.urls",
    "jobs.walkthroughs.urls",
    "jobs.work.urls",
    "jobs.chalking.urls",
    "jobs.reminders.urls",
    "routing.roads.urls",
    "routing.plans.urls",
    "routing.dispatch.urls",
]
APIS = [
    "shared.outbox.api",
    "pricing.catalogue.api",
    "pricing.estimates.api",
    "pricing.minutes.api",
    "pricing.earnings.api",
    "pricing.costs.api",
    "pricing.triage.api",
    "jobs.customers.api",
    "jobs.mixing.api",
    "jobs.walkthroughs.api",
    "jobs.work.api",
    "jobs.chalking.api",
    "jobs.reminders.api",
    "routing.roads.api",
    "routing.plans.api",
    "routing.dispatch.api",
]

urlpatterns = [
    *(path("", include(module)) for module in PAGES),
    path("api/schema/", SpectacularAPIView.as_view(), name="api_schema"),
    *(path("api/", include(module)) for module in APIS),
    path("admin/", admin.site.urls),
]
handler400 = "shared.web.views.bad_request"
handler403 = "shared.web.views.not_allowed"
handler404 = "shared.web.views.not_found"
handler500 = "shared.web.views.server_error"
