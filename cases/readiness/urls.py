"""Addresses of readiness."""

from django.urls import path

from cases.readiness import views

urlpatterns = [
    path("fortnight/", views.fortnight_page, name="fortnight"),
    path("cases/<int:pk>/", views.case_page, name="case"),
]
