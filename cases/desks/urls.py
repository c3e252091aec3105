"""Addresses of the desks: landing, help, the scan field."""

from django.urls import path

from cases.desks import landing, scan, views_imports, views_work

urlpatterns = [
    path("", landing.landing, name="landing"),
    path("help/", landing.help_page, name="help"),
    path("help/cautions/", landing.cautions, name="cautions"),
    path("scan/", scan.scan, name="scan"),
    path("work/", views_work.work, name="sterile-work"),
    path("imports/", views_imports.imports, name="imports"),
    path("imports/new/", views_imports.import_new, name="import-new"),
    path("imports/<int:pk>/", views_imports.import_run, name="import-run"),
    path("imports/<slug:kind>/template.<slug:ext>", views_imports.import_template, name="import-template"),
]
