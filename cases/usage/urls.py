"""Addresses of the implant record, of what fails on the table, and of what is chased."""

from django.urls import path

from cases.usage import (
    views_avoid,
    views_by_hand,
    views_chase,
    views_failing,
    views_implants,
    views_no_card,
    views_paper,
    views_record,
    views_sets,
    views_signing,
    views_stop,
)

CASE = "theatre/<int:pk>/"
BOX = f"{CASE}implants/<int:number>/"

urlpatterns = [
    path(f"{CASE}implants/", views_implants.implants, name="theatre-implants"),
    path(f"{CASE}implants/open/", views_implants.box_open, name="theatre-box-open"),
    path(f"{CASE}implants/in-hand/", views_implants.box_in_hand, name="theatre-box-in-hand"),
    path(f"{CASE}implants/by-hand/", views_by_hand.box_down, name="theatre-box-down"),
    path(f"{CASE}implants/decision/", views_implants.decision, name="theatre-decision"),
    path(f"{CASE}implants/explant/", views_implants.explant, name="theatre-explant"),
    path(BOX, views_implants.box, name="theatre-box"),
    path(f"{BOX}opened/", views_implants.opened, name="theatre-opened"),
    path(f"{BOX}fate/", views_implants.fate, name="theatre-fate"),
    path(f"{BOX}card/", views_implants.card, name="theatre-card"),
    path(f"{BOX}side/", views_implants.place, name="theatre-box-place"),
    path(f"{CASE}stop/", views_stop.stop, name="theatre-stop"),
    path(f"{CASE}stop/<int:number>/", views_stop.said, name="theatre-stop-said"),
    path(f"{CASE}set-failure/", views_failing.failed, name="theatre-set-fail"),
    path(f"{CASE}set-failure/answers/", views_failing.answers, name="theatre-set-answers"),
    path("table-failures/", views_failing.table_failures, name="table-failures"),
    path("table-failures/<int:pk>/answer/", views_failing.answer, name="table-failure-answer"),
    path(f"{CASE}sets/", views_sets.sets_away, name="theatre-sets"),
    path(f"{CASE}sets/<int:pack>/lacks/", views_sets.lack, name="theatre-sets-lack"),
    path(f"{CASE}sign/", views_signing.sign, name="theatre-sign"),
    path(f"{CASE}sign/record/", views_signing.record_signed, name="theatre-record-sign"),
    path(f"{CASE}sign/unsigned/", views_signing.unsigned, name="theatre-unsigned"),
    path(f"{CASE}close/", views_signing.close, name="theatre-close"),
    path(f"{CASE}close/by-exception/", views_signing.close_by_exception, name="theatre-close-exception"),
    path(f"{CASE}record/", views_record.record, name="theatre-record"),
    path(f"{CASE}record.pdf", views_record.record_pdf, name="theatre-record-pdf"),
    path(f"{CASE}record.csv", views_record.record_csv, name="theatre-record-csv"),
    path(f"{CASE}record.json", views_record.record_json, name="theatre-record-json"),
    path(f"{CASE}paper/", views_paper.paper, name="theatre-paper"),
    path(f"{CASE}paper/box/", views_paper.paper_box, name="theatre-paper-box"),
    path(f"{CASE}paper/name/", views_paper.paper_sign, name="theatre-paper-sign"),
    path(f"{CASE}paper/count/<int:stage>/", views_paper.paper_stage, name="theatre-paper-stage"),
    path("cases/<int:pk>/avoid/", views_avoid.avoid, name="case-avoid"),
    path("no-card/", views_no_card.no_card, name="no-card"),
    path("chase/", views_chase.chase, name="chase"),
    path("chase/<int:pk>/", views_chase.chase_mark, name="chase-mark"),
]
