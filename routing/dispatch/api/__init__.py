"""This room for programs: routes and marks, their sheets, trucks."""

from routing.dispatch.api import routes, sheets, trucks

urlpatterns = [*routes.urlpatterns, *sheets.urlpatterns, *trucks.urlpatterns]
