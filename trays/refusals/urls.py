"""Addresses of refused scans."""

from django.urls import path

from trays.refusals import views

urlpatterns = [
    path("refused-scans/", views.refused, name="refused-scans"),
]
