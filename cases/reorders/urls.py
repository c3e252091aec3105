"""Addresses of the reorders room: reorder alerts, and the stock pages, which show demand and holds too."""

from django.urls import path

from cases.reorders import views, views_budget, views_stock

# A code may hold any sign but spaces, also a stroke: hence path, not slug.
urlpatterns = [
    path("reorders/", views.reorders, name="reorders"),
    path("reorders/budget/", views_budget.budget, name="reorder-budget"),
    path("stock/", views_stock.stock, name="stock"),
    path("stock/<path:code>/", views_stock.stock_family, name="stock-family"),
]
