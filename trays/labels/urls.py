"""Addresses of labels."""

from django.urls import path

from trays.labels import views

urlpatterns = [
    path("labels/", views.labels, name="labels"),
    path("labels/labels.pdf", views.labels_paper, name="labels-pdf"),
]
