"""Addresses of bookings.

Changing, ordering, moving and cancelling touch what is held for a case: their addresses are those of picks.
"""

from django.urls import path

from cases.bookings import views

urlpatterns = [
    path("cases/book/", views.book, name="case-book"),
    path("cases/<int:pk>/predict/", views.predict, name="case-predict"),
]
