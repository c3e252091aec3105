"""Addresses of the staff room."""

from django.urls import path

from trays.staff.views import SignIn, SignOut, my_pin

urlpatterns = [
    path("sign-in/", SignIn.as_view(), name="sign-in"),
    path("sign-out/", SignOut.as_view(), name="sign-out"),
    path("my-pin/", my_pin, name="my-pin"),
]
