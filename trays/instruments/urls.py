"""Addresses of the instruments room."""

from django.urls import path

from trays.instruments import views

# The page of one set has its address where cases are known, which tell more of it.
urlpatterns = [
    path("care/<int:pk>/done/", views.care_is_done, name="care-done"),
    path("sets/", views.sets, name="sets"),
]
