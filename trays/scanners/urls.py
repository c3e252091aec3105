"""Addresses of scanners."""

from django.urls import path

from trays.scanners import views

urlpatterns = [
    path("scanner/", views.workstation, name="scanner"),
    path("scanner/device/", views.device, name="scanner-device"),
    path("scanner/settings/", views.adjust, name="scanner-settings"),
    path("scanner/test/", views.scanner_test, name="scanner-test"),
    path("scanner/test.pdf", views.scanner_test_sheet, name="scanner-test-sheet"),
]
