"""Addresses of readiness."""

from django.urls import path

from cases.readiness import views, views_day, views_sizes, views_whatif

urlpatterns = [
    path("fortnight/", views.fortnight_page, name="fortnight"),
    path("fortnight/<slug:site>/<slug:day>/sets/", views_day.day_sets, name="day-sets"),
    path("cases/<int:pk>/", views.case_page, name="case"),
    path("cases/<int:pk>/sizes/", views_sizes.sizes_page, name="case-sizes"),
    path("lists/<int:pk>/what-if/", views_whatif.what_if, name="list-what-if"),
]
