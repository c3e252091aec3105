"""Addresses of count sheets and of the theatre's pages of counting."""

from django.urls import path

from cases.counts import views, views_entries, views_templates, views_theatre, views_worker

urlpatterns = [
    path("cases/<int:pk>/count-sheets/", views.count_sheets, name="count-sheets"),
    path("cases/<int:pk>/count-sheets.pdf", views.count_sheets_paper, name="count-sheets-pdf"),
    path("cases/<int:pk>/count-sheets-filled.pdf", views.count_sheets_filled, name="count-sheets-filled"),
    path("count-templates/", views_templates.count_templates, name="count-templates"),
    path("count-templates/new/", views_templates.count_template_new, name="count-template-new"),
    path("count-templates/<int:pk>/", views_templates.count_template, name="count-template"),
    path("count-templates/<int:pk>/edit/", views_templates.count_template_edit, name="count-template-edit"),
    path("theatre/", views_theatre.today, name="theatre-today"),
    path("theatre/worker.js", views_worker.worker, name="theatre-worker"),
    path("theatre/shell/", views_worker.shell, name="theatre-shell"),
    path("theatre/manifest.webmanifest", views_worker.manifest, name="theatre-manifest"),
    path("theatre/<int:pk>/", views_theatre.bring_in, name="theatre-case"),
    path("theatre/<int:pk>/open/", views_theatre.open_case, name="theatre-open"),
    path("theatre/<int:pk>/trolley/", views_theatre.trolley, name="theatre-trolley"),
    path("theatre/<int:pk>/packs/<int:pack>/", views_theatre.pack_in, name="theatre-pack"),
    path("theatre/<int:pk>/count/", views_theatre.count, name="theatre-count"),
    path("theatre/<int:pk>/count/entry/", views_entries.by_form, name="theatre-entry"),
    path("theatre/<int:pk>/entries/", views_entries.entries, name="theatre-entries"),
    path("theatre/<int:pk>/state.json", views_entries.state, name="theatre-state"),
]
