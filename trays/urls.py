"""Addresses of the rooms of trays/."""

import importlib.util

from django.urls import URLPattern, URLResolver, include, path

ROOMS = ['web', 'staff', 'stock', 'instruments', 'labels']
urlpatterns: list[URLPattern | URLResolver] = [
    path("", include(f"trays.{room}.urls")) for room in ROOMS if importlib.util.find_spec(f"trays.{room}.urls")
]
