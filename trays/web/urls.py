"""Addresses of the shared web parts."""

from django.urls import path

from trays.web import views

urlpatterns = [
    path("look/", views.choose_look, name="theme"),
]
