"""Addresses of the rooms of cases/."""

import importlib.util

from django.urls import URLPattern, URLResolver, include, path

ROOMS = ['bookings', 'readiness', 'picks', 'counts', 'reorders', 'desks']
urlpatterns: list[URLPattern | URLResolver] = [
    path("", include(f"cases.{room}.urls")) for room in ROOMS if importlib.util.find_spec(f"cases.{room}.urls")
]
