"""Reading labels of the other issuing agencies: HIBC of HIBCC, ISBT 128 of ICCBBA."""

from dataclasses import replace
from datetime import date

from trays.identifiers import answers, hibc, isbt, keyboards, wedge
from trays.identifiers.dates import CodedDate
from trays.identifiers.hibc import Label
from trays.identifiers.hibc_data import BadLabel
from trays.identifiers.results import Form, Kind, Part, Reading, described
from trays.identifiers.told import Fault, Note, Words, gettext_noop, words

_CASE = Note(
    "case",
    words(
        gettext_noop(
            "Small letters were taken for capitals: HIBC has no others, and the check character holds."
        )
    ),
)
_MONTH_END = Note("month-end", words(gettext_noop("Only the month was given: its last day was taken.")))


def read_hibc(base: Reading, today: date, *, blank: bool = False) -> Reading:
    """The answer for an HIBC label. ``blank``: a blank stood at its end, perhaps the check character."""
    text = base.text
    capitals = text.upper() if text.isascii() else text
    notes = base.assumed
    try:
        try:
            label = hibc.parse(capitals, today)
        except BadLabel as error:
            if not blank or error.code != "check-digit":
                raise
            label = hibc.parse(capitals + " ", today)
            notes = tuple(n for n in notes if n is not wedge.BLANKS)
    except BadLabel as error:
        return _refused(base, capitals, error, today)
    if capitals != text:
        notes = (*notes, _CASE)
    return of_hibc(replace(base, assumed=notes), label)


def _refused(base: Reading, text: str, error: BadLabel, today: date) -> Reading:
    if error.code == "provider":
        return replace(base, kind=Kind.FOREIGN, form=Form.HIBC, words=(error.words,))
    made = replace(answers.refused(base, error.code, error.words), form=Form.HIBC)
    if error.code != "check-digit":
        return made
    return replace(made, words=(*made.words, *_through_other_letters(text, today)))


def _through_other_letters(text: str, today: date) -> tuple[Words, ...]:
    """What to look at where the check character would hold if letters had changed places. Never taken so."""
    for twist in keyboards.LETTER_SWAPS:
        try:
            hibc.parse(twist.undone(text), today)
        except BadLabel:
            continue
        message = gettext_noop(
            "It would hold if the letters had come through a %(layout)s keyboard: see how the scanner is set."
        )
        return (words(message, layout=twist.layout),)
    return ()


def of_hibc(base: Reading, label: Label) -> Reading:
    """The answer for an HIBC label: the one scanned, or two joined by ``hibc.join``.

    Its parts are named by words; dates among them are written as ISO 8601.
    """
    parts = tuple(
        part
        for part in (
            Part("device", gettext_noop("device identifier"), label.device),
            Part("lot", gettext_noop("lot"), label.lot or ""),
            Part("serial", gettext_noop("serial"), label.serial or ""),
            Part(
                "quantity",
                gettext_noop("quantity"),
                "" if label.quantity is None else str(label.quantity),
                label.quantity,
            ),
            Part("expiry", gettext_noop("use by"), _iso(label.expiry), label.expiry),
            Part("made", gettext_noop("made"), _iso(label.made), label.made),
        )
        if part.value
    )
    assumed = base.assumed
    if label.expiry is not None and not label.expiry.day_given:
        assumed = (*assumed, _MONTH_END)
    return replace(
        base,
        kind=Kind.HIBC,
        form=Form.HIBC,
        parts=parts,
        certain=parts,
        unread="/".join(label.others),
        hibc=label,
        expiry=label.expiry,
        made=label.made,
        assumed=assumed,
        broken=label.faults,
        choices=(),
        words=(),
    )


def _iso(coded: CodedDate | None) -> str:
    return "" if coded is None else coded.day.isoformat()


_KEPT_WHOLE = words(gettext_noop("It is kept as scanned; its rules are not judged here."))


def read_tissue(base: Reading) -> Reading:
    """The answer for a label of blood, tissue or cells: kept whole, with what can be told of it.

    What only begins with the same sign is text.
    """
    if not isbt.is_label(base.text):
        return answers.as_text(base)
    structures = isbt.parse(base.text)
    known = [s for s in structures if s.key != "other"]
    dated = {s.key: isbt.read_date(s.value) for s in known if s.key in ("expiry", "made", "collected")}
    parts = tuple(Part(s.key, s.title, s.value, dated.get(s.key)) for s in known)
    faults = tuple(_bad_date(key) for key, day in dated.items() if day is None)
    made = replace(
        base,
        kind=Kind.TISSUE,
        form=Form.ISBT,
        parts=parts,
        certain=parts,
        unread="".join(s.value for s in structures if s.key == "other"),
        expiry=dated.get("expiry"),
        made=dated.get("made"),
        broken=faults,
    )
    return replace(made, words=(described(made), _KEPT_WHOLE))


def _bad_date(key: str) -> Fault:
    return Fault("date", words(gettext_noop("The date “%(key)s” of the label is no date."), key=key), key)
