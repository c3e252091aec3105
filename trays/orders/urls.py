"""Addresses of the room."""

from django.urls import URLPattern, path

from trays.orders import views, views_acts, views_receive

urlpatterns: list[URLPattern] = [
    path("orders/", views.orders, name="orders"),
    path("orders/new/", views.order_new, name="order-new"),
    path("orders/<int:pk>/", views.order, name="order"),
    path("orders/<int:pk>/paper.<str:form>", views.order_paper, name="order-paper"),
    path("orders/<int:pk>/add/", views_acts.order_add, name="order-add"),
    path("orders/<int:pk>/approve/", views_acts.approve, name="order-approve"),
    path("orders/<int:pk>/send/", views_acts.send, name="order-send"),
    path("orders/<int:pk>/confirm/", views_acts.confirm, name="order-confirm"),
    path("orders/<int:pk>/end/", views_acts.end, name="order-end"),
    path("orders/<int:pk>/receive/", views_receive.receive, name="order-receive"),
    path("orders/<int:pk>/receive/begin/", views_receive.receive_begin, name="order-receive-begin"),
    path("orders/<int:pk>/receive/hand/", views_receive.receive_hand, name="order-receive-hand"),
    path("orders/<int:pk>/receive/undo/", views_receive.receive_undo, name="order-receive-undo"),
    path("orders/<int:pk>/receive/done/", views_receive.receive_done, name="order-receive-done"),
    path("order-lines/<int:pk>/", views_acts.line_of, name="order-line"),
    path("order-lines/<int:pk>/off/", views_acts.line_off, name="order-line-off"),
    path("order-limits/", views.order_limits, name="order-limits"),
    path("order-limits/set/", views.order_limits_set, name="order-limits-set"),
]
