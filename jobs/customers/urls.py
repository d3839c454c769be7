"""Addresses of this room's pages."""

from django.urls import path

from jobs.customers.views import customers, finding, imports, joining, merging, properties

app_name = "customers"
urlpatterns = [
    path("customers/", customers.customers, name="customer_list"),
    path("customers/alike/", merging.alike, name="alike"),
    path("customers/alike/<row:first_id>/<row:second_id>/apart/", merging.apart, name="apart"),
    path("customers/<row:keep_id>/merge/<row:other_id>/", merging.merge, name="merge"),
    path("customers/<row:keep_id>/merge/", merging.choose, name="merge_choose"),
    path("customers/new/", customers.customer_new, name="customer_new"),
    path("customers/import/", imports.import_start, name="import_start"),
    path("customers/import/done/<str:token>/", imports.import_done, name="import_done"),
    path("customers/import/corrections/<str:token>/", imports.import_corrections, name="import_corrections"),
    path("customers/import/<slug:kind>/<str:token>/", imports.import_preview, name="import_preview"),
    path("customers/import/<slug:kind>/<str:token>/confirm/", imports.import_confirm, name="import_confirm"),
    path("customers/export/<slug:kind>/", imports.export, name="export"),
    path("customers/<row:customer_id>/", customers.customer, name="customer_page"),
    path("customers/<row:customer_id>/edit/", customers.customer_edit, name="customer_edit"),
    path("customers/<row:customer_id>/consent/", customers.consent, name="consent"),
    path("customers/<row:customer_id>/properties/new/", properties.property_new, name="property_new"),
    path("properties/", properties.properties, name="property_list"),
    path("properties/without-place/", finding.without_place, name="without_place"),
    path("properties/<row:property_id>/place/", finding.place_edit, name="place_edit"),
    path("properties/<row:property_id>/place/look-up/", finding.place_look_up, name="place_look_up"),
    path("properties/<row:property_id>/place/take/<int:number>/", finding.place_take, name="place_take"),
    path("properties/<row:property_id>/", properties.place, name="property_page"),
    path("properties/<row:property_id>/join/", joining.choose, name="join_choose"),
    path("properties/<row:keep_id>/join/<row:other_id>/", joining.join, name="join"),
    path("properties/<row:property_id>/edit/", properties.property_edit, name="property_edit"),
    path("properties/<row:property_id>/walls/new/", properties.wall_new, name="wall_new"),
    path("walls/<row:wall_id>/edit/", properties.wall_edit, name="wall_edit"),
]
