"""Addresses of the reorders room: reorder alerts, and the stock pages, which show demand and holds too."""

from django.urls import path

from cases.reorders import (
    views,
    views_actions,
    views_budget,
    views_expiry,
    views_ordering,
    views_stock,
    views_uses,
)

# A code may hold any sign but spaces, also a stroke: hence path, not slug.
urlpatterns = [
    path("reorders/", views.reorders, name="reorders"),
    path("reorders/order/", views_ordering.reorder_order, name="reorder-order"),
    path("reorders/take-up/", views_ordering.reorder_take_up, name="reorder-take-up"),
    path("reorders/<int:pk>/set-aside/", views_ordering.reorder_set_aside, name="reorder-set-aside"),
    path("reorders/list.pdf", views_ordering.reorder_paper, name="reorder-paper"),
    path("reorders/used/", views_uses.reorder_used, name="reorder-used"),
    path("reorders/budget/", views_budget.budget, name="reorder-budget"),
    path("reorders/budget/order/", views_ordering.reorder_budget_order, name="reorder-budget-order"),
    path("cases/<int:pk>/actions/", views_actions.case_actions, name="case-actions"),
    path("expiry/", views_expiry.expiry, name="expiry"),
    path("stock/", views_stock.stock, name="stock"),
    path("stock/<path:code>/", views_stock.stock_family, name="stock-family"),
]
