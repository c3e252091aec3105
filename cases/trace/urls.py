"""Addresses of the trace; and of a set's page, which tells more here than its own room knows."""

from django.urls import path

from cases.trace import views
from cases.trace.beside import beside_set
from trays.instruments import views as instruments

# A code may hold any sign but spaces, also a stroke: hence path, not slug.
urlpatterns = [
    path("sets/<path:code>/", instruments.one_set, {"beside": beside_set}, name="set"),
    path("trace/sets/<path:code>/", views.set_history, name="set-history"),
    path("recalls/<int:pk>/cases/", views.recall_cases, name="recall-cases"),
    path("safety-notices/<int:pk>/cases/", views.notice_cases, name="notice-cases"),
]
