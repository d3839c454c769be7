"""This room for programs: routes and marks, their sheets, telling customers, trucks."""

from routing.dispatch.api import routes, sheets, telling, trucks

urlpatterns = [*routes.urlpatterns, *sheets.urlpatterns, *telling.urlpatterns, *trucks.urlpatterns]
