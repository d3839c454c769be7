from django.apps import AppConfig


class CatalogueConfig(AppConfig):
    name = "pricing.catalogue"
    label = "catalogue"
    verbose_name = "Catalogue"
