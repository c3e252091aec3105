"""Codes of other standards end in one plain sentence; tissue labels are kept whole."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.identifiers import foreign, isbt, meaning
from trays.identifiers.checkdigits import mod43, with_mod10
from trays.identifiers.meaning import Form, Kind

TODAY = date(2026, 11, 24)


@pytest.mark.parametrize(
    ("raw", "word"),
    [
        ("]E09780306406157", "ISBN"),
        ("9780306406157", "ISBN"),
        ("]E0" + with_mod10("977002808360"), "ISSN"),
        ("]d1[)>\x1e06\x1d9N110375286414\x1d1TABC\x1dD271130\x1e\x04", "PPN"),
        ("[)>\x1e06\x1d1TABC\x1e\x04", "data identifiers"),
        ("9N110375286414", "PPN"),
        ("-01234562", "PZN"),
        ("]Q1https://maker.example/instructions", "web address"),
        ("www.maker.example/x", "web address"),
        ("BEGIN:VCARD\nVERSION:3.0\nEND:VCARD", "visiting card"),
        ("WIFI:S:net;P:secret;;", "network"),
        ("tel:+44123", "telephone"),
        ("mailto:x@y.example", "telephone"),
        ("urn:epc:id:sgtin:9521234.000001.7", "RFID"),
        ("3034257BF7194E4000001A85", "RFID"),
        ("urn:isbn:0306406152", "URN"),
        ("+/EAB12" + mod43("+/EAB12"), "HIBC"),
    ],
)
def test_each_is_named_in_a_plain_sentence(raw: str, word: str) -> None:
    reading = meaning.read(raw, today=TODAY)
    assert (reading.kind, reading.usable, reading.parts) == (Kind.FOREIGN, False, ())
    assert word in reading.sentence and reading.sentence.endswith(".")


@pytest.mark.parametrize("text", ["9N110375286415", "-01234563", "femoral", "3034", "K1-5", "9NINE", ""])
def test_what_only_looks_alike_is_text(text: str) -> None:
    assert foreign.recognise(text) is None


@given(st.text(max_size=60))
def test_no_text_makes_it_fail(text: str) -> None:
    foreign.recognise(text)
    foreign.recognise("[)>" + text)


# ISBT 128

TISSUE = "=/A9999XYZ100T0944=,000025=A99971312345600=>014032=}013032&,1000000000000XYZ123"


def test_the_published_tissue_label_is_kept_whole_and_told() -> None:
    reading = meaning.read("]C4" + TISSUE, today=TODAY)
    assert (reading.kind, reading.form, reading.agency, reading.usable) == (
        Kind.TISSUE, Form.ISBT, "ICCBBA", False,
    )  # fmt: skip
    assert reading.text == TISSUE and reading.raw == b"]C4" + TISSUE.encode()
    assert {p.key: p.value for p in reading.parts} == {
        "device": "A9999XYZ100T0944", "serial": "000025", "donation": "A999713123456", "expiry": "014032",
        "made": "013032", "lot": "000000000000XYZ123",
    }  # fmt: skip
    assert reading.expiry is not None and reading.expiry.day == date(2014, 2, 1)
    assert reading.made is not None and reading.made.day == date(2013, 2, 1)
    assert "donation number A999713123456" in reading.sentence and "kept as scanned" in reading.sentence


def test_a_blood_bag_says_its_container() -> None:
    parts = {p.key: p.value for p in meaning.read("=)1TE123456A&)RZ12345678", today=TODAY).parts}
    assert parts == {"container": "1TE123456A", "container-lot": "RZ12345678"}


def test_an_impossible_date_of_a_tissue_label_is_told_and_the_rest_kept() -> None:
    reading = meaning.read("=>026400=<E0791V00", today=TODAY)
    assert [f.code for f in reading.broken] == ["date"]
    assert (reading.expiry, reading.value("product")) == (None, "E0791V00")


def test_structures_that_are_not_known_here_are_kept() -> None:
    reading = meaning.read("=;01234567=<E0791V00", today=TODAY)
    assert (reading.kind, reading.unread) == (Kind.TISSUE, "=;01234567")


@pytest.mark.parametrize("text", ["=SUM(A1)", "&;1", "=", "&", "=%", "= 12345"])
def test_what_only_begins_alike_is_text(text: str) -> None:
    assert meaning.read(text, today=TODAY).kind is Kind.TEXT


@given(st.text("=&<>%)(,/*}1A0", max_size=60))
def test_nothing_of_a_tissue_label_is_lost(text: str) -> None:
    found = isbt.parse(text)
    assert sum(len(s.value) for s in found) <= len(text)
    assert "".join(s.value for s in found if s.key == "other") in text or len(found) > 1


@pytest.mark.parametrize(
    ("digits", "day"),
    [
        ("026366", None),
        ("028366", date(2028, 12, 31)),
        ("998001", date(1998, 1, 1)),
        ("02600", None),
        ("x", None),
    ],
)
def test_dates_of_tissue_labels(digits: str, day: date | None) -> None:
    found = isbt.read_date(digits)
    assert (found.day if found else None) == day
