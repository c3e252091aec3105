"""Addresses of the rooms of trays/."""

from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("trays.web.urls")),
    path("", include("trays.staff.urls")),
    path("", include("trays.refusals.urls")),
    path("", include("trays.scanners.urls")),
    path("", include("trays.catalogue.urls")),
    path("", include("trays.stock.urls")),
    path("", include("trays.instruments.urls")),
    path("", include("trays.processing.urls")),
    path("", include("trays.orders.urls")),
    path("", include("trays.loans.urls")),
    path("", include("trays.labels.urls")),
]
