"""Addresses of count sheets."""

from django.urls import path

from cases.counts import views

urlpatterns = [
    path("cases/<int:pk>/count-sheets/", views.count_sheets, name="count-sheets"),
    path("cases/<int:pk>/count-sheets.pdf", views.count_sheets_paper, name="count-sheets-pdf"),
]
