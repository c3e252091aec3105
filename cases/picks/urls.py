"""Addresses of pick lists, and of the acts that give up what is kept for a case."""

from django.urls import path

from cases.bookings import views as bookings
from cases.picks import views, views_picking, views_withdraw
from cases.picks.retime import set_holds_follow

urlpatterns = [
    path("pick-lists/", views.pick_lists, name="pick-lists"),
    path("pick-lists/<int:pk>/", views.pick_list, name="pick-list"),
    path("pick-lists/<int:pk>/pick-list.pdf", views.pick_list_sheet, name="pick-list-pdf"),
    path("pick-lists/<int:pk>/undo/", views_picking.undo, name="pick-list-undo"),
    path("pick-lists/<int:pk>/line/", views_picking.line, name="pick-list-line"),
    path("pick-lists/<int:pk>/issue/", views_picking.issue, name="pick-list-issue"),
    path("pick-lists/<int:pk>/opened/", views_picking.opened, name="pick-list-opened"),
    path("pick-lists/<int:pk>/returned/", views_picking.returned, name="pick-list-returned"),
    path("cases/<int:pk>/pick-list/in-force/", views.of_case, name="case-pick-list"),
    path("cases/<int:pk>/pick-list/", views.make, name="pick-list-make"),
    path("cases/<int:pk>/change/", bookings.change, {"follow": set_holds_follow}, name="case-change"),
    path("lists/<int:pk>/order/", bookings.order, {"follow": set_holds_follow}, name="list-order"),
    path("cases/<int:pk>/cancel/", views_withdraw.cancel, name="case-cancel"),
    path("cases/<int:pk>/move/", views_withdraw.move, name="case-move"),
]
