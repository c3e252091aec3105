"""Addresses of labels."""

from django.urls import path

from trays.labels import views, views_papers, views_runs

urlpatterns = [
    path("labels/", views.labels, name="labels"),
    path("labels/labels.pdf", views.labels_paper, name="labels-pdf"),
    path(
        "labels/preview/<int:pk>/<str:kind>/<str:stock>.png", views_runs.label_preview, name="labels-preview"
    ),
    path("labels/runs/<int:pk>/", views_runs.label_run, name="label-run"),
    path("labels/runs/<int:pk>/<int:number>.pdf", views_runs.label_file, name="label-file"),
    path("labels/stock/", views_papers.label_papers, name="label-papers"),
    path("labels/stock/new/", views_papers.label_paper_new, name="label-paper-new"),
    path("labels/stock/<int:pk>/", views_papers.label_paper, name="label-paper"),
]
