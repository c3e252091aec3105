"""Addresses of the rooms of cases/."""

from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("cases.bookings.urls")),
    path("", include("cases.readiness.urls")),
    path("", include("cases.picks.urls")),
    path("", include("cases.counts.urls")),
    path("", include("cases.usage.urls")),
    path("", include("cases.reorders.urls")),
    path("", include("cases.trace.urls")),
    path("", include("cases.desks.urls")),
]
