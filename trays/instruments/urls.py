"""Addresses of the instruments room."""

from django.urls import path

from trays.instruments import views

# A code may hold any sign but spaces, also a stroke: hence path, not slug.
urlpatterns = [
    path("sets/", views.sets, name="sets"),
    path("sets/<path:code>/", views.one_set, name="set"),
]
