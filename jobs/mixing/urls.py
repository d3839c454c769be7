"""Addresses of this room's pages."""

from django.urls import path

from jobs.mixing import views

app_name = "mixing"
urlpatterns = [
    path("mixes/", views.products, name="products"),
    path("mixes/products/new/", views.product_new, name="product_new"),
    path("mixes/products/<row:product_id>/", views.product, name="product"),
    path("mixes/products/<row:product_id>/in-use/", views.product_in_use, name="product_in_use"),
    path("mixes/products/<row:product_id>/stocks/", views.stock_new, name="stock_new"),
    path("mixes/stocks/<row:stock_id>/strips/", views.strip_new, name="strip_new"),
    path("mixes/stocks/<row:stock_id>/used-up/", views.stock_used_up, name="stock_used_up"),
    path("mixes/set/", views.mix_set, name="mix_set"),
    path("mixes/<row:mix_id>/remove/", views.mix_remove, name="mix_remove"),
    path("mixes/limits/", views.limit_set, name="limit_set"),
    path("mixes/limits/start/", views.limits_start, name="limits_start"),
    path("mixes/direction/", views.direction, name="direction"),
]
