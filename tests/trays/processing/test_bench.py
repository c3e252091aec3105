"""The bench: each line spoken of, nothing critical missing without a name, the weight within the limit."""

from datetime import timedelta

import pytest

from tests.trays.processing.conftest import PIN, Department
from tests.world import NOW, TODAY
from trays.instruments.models import ContentsLine, DesignVersion, Pack, PackLine, PackState
from trays.instruments.models_pieces import Piece, PieceState, Spare
from trays.instruments.queries import set_facts
from trays.processing import bench, shortfalls
from trays.processing.bench import Found
from trays.processing.models import LineState, Shortfall
from trays.processing.models_policy import Policy
from trays.staff.signing import holds, signer
from trays.web.errors import Refusal


@pytest.fixture
def pack(department: Department) -> Pack:
    """A clean pack of the general set; line 1 is critical, line 2 is not."""
    pack = department.world.a_set("general", "G-01", state=PackState.USED).packs.get()
    department.receive(pack)
    department.washed(pack)
    pack.refresh_from_db()
    return pack


def lines_of(pack: Pack) -> dict[int, ContentsLine]:
    return {line.number: line for line in pack.set.version.lines.filter(tray=pack.tray)}


def begun(department: Department, pack: Pack):
    return bench.assembly_begin(by=department.technician, pack=pack, place=department.hall, at=NOW)


def check(department: Department, assembly, *found: Found) -> None:
    bench.lines_check(by=department.technician, assembly=assembly, found=found, at=NOW)


def refusal(act, *args, **kwargs) -> str:
    with pytest.raises(Refusal) as refused:
        act(*args, **kwargs)
    assert refused.value.next_step
    return refused.value.code


def test_the_list_is_closed_only_when_every_line_was_looked_at(department, pack):
    made = begun(department, pack)
    lines = lines_of(pack)
    first = min(lines)
    check(department, made, Found(lines[first], LineState.THERE, lines[first].quantity))
    close = {"by": department.technician, "assembly": made, "at": NOW}
    assert refusal(bench.assembly_close, **close) == "lines-open"
    bench.rest_there(by=department.technician, assembly=made, at=NOW)
    bench.assembly_close(**close)
    pack.refresh_from_db()
    assert pack.state == PackState.ASSEMBLED


def critical_and_other(pack: Pack) -> tuple[ContentsLine, ContentsLine]:
    rows = lines_of(pack).values()
    return next(row for row in rows if row.critical), next(row for row in rows if not row.critical)


def test_a_critical_line_that_is_short_needs_a_named_persons_reason_and_the_set_is_still_not_ready(
    department, pack
):
    critical, _other = critical_and_other(pack)
    made = begun(department, pack)
    check(department, made, Found(critical, LineState.MISSING, critical.quantity - 1))
    bench.rest_there(by=department.technician, assembly=made, at=NOW)
    close = {"by": department.technician, "assembly": made, "at": NOW}
    assert refusal(bench.assembly_close, **close) == "critical-short"
    surgeon = department.sign_as(department.world.cast.surgeon)
    assert refusal(bench.assembly_close, **close, allowed=(surgeon, " ")) == "reason-missing"
    closed = bench.assembly_close(**close, allowed=(surgeon, "The small one is on the theatre's own tray"))
    assert closed.short_by == department.world.cast.surgeon
    assert closed.signature and holds(closed.signature, bench.content_of(closed))
    closed.short_reason = "something else"
    assert not holds(closed.signature, bench.content_of(closed))
    (facts,) = set_facts(site_ids=[department.world.site.pk], set_ids=[pack.set_id])
    assert facts.packs[0].lacks_critical and not facts.ready_on(TODAY)


def test_a_line_that_is_short_is_on_a_list_until_it_is_found_replaced_or_written_off(department, pack):
    _critical, other = critical_and_other(pack)
    made = begun(department, pack)
    check(department, made, Found(other, LineState.BROKEN, other.quantity - 1))
    row = Shortfall.objects.get(pack=pack)
    assert (row.cause, row.quantity, row.ended_at) == ("broken", 1, None)
    assert PackLine.objects.get(pack=pack, line=other).present == other.quantity - 1
    check(department, made, Found(other, LineState.REPLACED, other.quantity, refilled=1))
    row.refresh_from_db()
    assert (row.ended_how, row.ended_by) == ("replaced", department.technician)
    check(department, made, Found(other, LineState.MISSING, other.quantity - 1))
    again = Shortfall.objects.get(pack=pack, ended_at=None)
    shortfalls.shortfall_end(by=department.technician, shortfall=again, how="written_off", at=NOW)
    act = {"by": department.technician, "shortfall": again, "how": "found", "at": NOW}
    assert refusal(shortfalls.shortfall_end, **act) == "ended-already"


def test_a_spare_is_taken_from_the_pool_and_not_when_there_is_none(department, pack):
    _critical, other = critical_and_other(pack)
    spare = Spare.objects.create(
        site=department.world.site, type=other.instrument, place=department.hall, quantity=1
    )
    made = begun(department, pack)
    found = Found(other, LineState.REPLACED, other.quantity, refilled=1, spare=spare)
    check(department, made, found)
    spare.refresh_from_db()
    assert spare.quantity == 0
    assert refusal(check, department, made, found) == "no-spare"


def test_an_instrument_with_a_mark_of_its_own_goes_into_one_tray_only(department, pack):
    _critical, other = critical_and_other(pack)
    piece = Piece.objects.create(
        type=other.instrument, mark="9521234I77", site=department.world.site, state=PieceState.SPARE
    )
    made = begun(department, pack)
    check(department, made, Found(other, LineState.THERE, other.quantity, piece=piece))
    piece.refresh_from_db()
    assert (piece.pack, piece.state) == (pack, PieceState.IN_SET)
    second = department.world.a_set("general", "G-02", state=PackState.USED).packs.get()
    department.receive(second)
    department.washed(second)
    other_pack = begun(department, second)
    found = Found(other, LineState.THERE, other.quantity, piece=piece)
    assert refusal(check, department, other_pack, found) == "piece-elsewhere"


@pytest.mark.parametrize(
    ("state", "present", "code"),
    [
        ("there", 0, "state-and-number"),
        ("missing", None, "state-and-number"),
        ("there", 99, "no-such-number"),
    ],
)
def test_what_is_said_of_a_line_must_fit_its_number(department, pack, state, present, code):
    _critical, other = critical_and_other(pack)
    made = begun(department, pack)
    found = Found(other, state, other.quantity if present is None else present)
    assert refusal(check, department, made, found) == code


def test_a_colleague_who_begins_the_same_pack_is_told_who_has_it_and_may_take_it_over(department, pack):
    made = begun(department, pack)
    act = {"by": department.colleague, "pack": pack, "place": department.hall, "at": NOW}
    assert refusal(bench.assembly_begin, **act) == "begun-by-another"
    bench.assembly_take_over(by=department.colleague, assembly=made, at=NOW)
    assert bench.assembly_begin(**act).pk == made.pk


def test_a_pack_is_packed_with_an_indicator_and_within_the_weight_limit(department, pack):
    made = department.assembled(pack)
    act = {"by": department.technician, "assembly": made, "packaging": "wrap", "at": NOW}
    assert refusal(bench.pack_close, **act, weight_grams=10_001, indicator_lot="X1") == "too-heavy"
    assert refusal(bench.pack_close, **act, weight_grams=6000, indicator_lot=" ") == "indicator-missing"
    bench.pack_close(**act, weight_grams=10_000, indicator_lot="X1")
    pack.refresh_from_db()
    assert (pack.state, pack.weight_grams, pack.packed_by) == ("packed", 10_000, department.technician)


def test_where_the_site_asks_for_it_a_second_person_checks(department, pack):
    Policy.objects.create(site=department.world.site, valid_from=TODAY, second_check=True)
    made = begun(department, pack)
    bench.rest_there(by=department.technician, assembly=made, at=NOW)
    close = {"by": department.technician, "assembly": made, "at": NOW}
    assert refusal(bench.assembly_close, **close) == "second-check-missing"
    own = signer(person=department.technician, pin=PIN)
    assert refusal(bench.assembly_close, **close, checked_by=own) == "same-person"
    closed = bench.assembly_close(**close, checked_by=department.sign_as(department.colleague))
    assert closed.checked_by == department.colleague


def test_a_set_takes_on_a_new_contents_list_when_it_is_next_assembled(department, pack):
    old = pack.set.version
    new = DesignVersion.objects.create(design=old.design, version=old.version + 1, valid_from=TODAY)
    for line in old.lines.all():
        line.pk, line.version = None, new
        line.save()
    # Not in force before tomorrow.
    DesignVersion.objects.create(
        design=old.design, version=old.version + 2, valid_from=TODAY + timedelta(days=1)
    )
    made = begun(department, pack)
    pack.set.refresh_from_db()
    assert pack.set.version == new == made.version


def test_a_pack_that_is_taken_apart_keeps_its_lines_and_is_closed_again(department, pack):
    department.packed(pack)
    made = pack.assemblies.get()
    bench.assembly_reopen(by=department.technician, assembly=made, at=NOW)
    pack.refresh_from_db()
    made.refresh_from_db()
    assert (pack.state, made.closed_at, made.packed_at) == (PackState.CLEANED, None, None)
    assert made.lines.count() == len(lines_of(pack))
    bench.assembly_close(by=department.technician, assembly=made, at=NOW)


def test_a_list_that_is_begun_keeps_its_set_to_its_version(department, pack):
    second = Pack.objects.create(
        set=pack.set, tray=2, number="P90002", place=department.hall, state=PackState.USED
    )
    department.receive(second)
    department.washed(second)
    begun(department, pack)
    DesignVersion.objects.create(
        design=pack.set.version.design, version=pack.set.version.version + 1, valid_from=TODAY
    )
    old = pack.set.version
    begun(department, second)
    pack.set.refresh_from_db()
    assert pack.set.version == old
