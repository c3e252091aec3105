"""Addresses of the room."""

from django.urls import path

from trays.loans import views, views_acts, views_agreements, views_moving

urlpatterns = [
    path("loans/", views.loans, name="loans"),
    path("loans/ask/", views.loan_new, name="loan-ask"),
    path("loans/rules/", views.loan_rules, name="loan-rules"),
    path("loans/<int:pk>/", views.loan, name="loan"),
    path("loans/<int:pk>/confirm/", views_acts.confirm, name="loan-confirm"),
    path("loans/<int:pk>/end/", views_acts.end, name="loan-end"),
    path("loans/<int:pk>/arrive/", views_moving.arrive, name="loan-arrive"),
    path("loans/<int:pk>/arrive/set/", views_moving.arrive_set, name="loan-arrive-set"),
    path("loans/<int:pk>/arrive/shelf/", views_moving.arrive_shelf, name="loan-arrive-shelf"),
    path("loans/<int:pk>/arrive/unit/", views_moving.arrive_unit, name="loan-arrive-unit"),
    path("loans/<int:pk>/units-checked/", views_acts.units_checked, name="loan-units-checked"),
    path("loans/sets/<int:pk>/check/", views_moving.check, name="loan-check"),
    path("loans/<int:pk>/count-out/", views_moving.count_out, name="loan-count-out"),
    path("loans/<int:pk>/count-out/seen/", views_moving.count_seen, name="loan-count-seen"),
    path("loans/<int:pk>/count-out/done/", views_moving.count_done, name="loan-count-done"),
    path("loans/<int:pk>/return/", views_acts.send_home, name="loan-return"),
    path("loans/<int:pk>/charges/", views_acts.claim, name="loan-claim"),
    path("loans/charges/<int:pk>/accept/", views_acts.accept, name="loan-charge-accept"),
    path("loans/charges/<int:pk>/refuse/", views_acts.refuse, name="loan-charge-refuse"),
    path("loans/<int:pk>/close/", views_acts.close, name="loan-close"),
    path("agreements/", views_agreements.agreements, name="agreements"),
    path("agreements/<int:pk>/", views_agreements.agreement, name="agreement"),
    path("agreements/<int:pk>/count/", views_agreements.count, name="agreement-count"),
    path("agreements/<int:pk>/end/", views_agreements.end, name="agreement-end"),
]
