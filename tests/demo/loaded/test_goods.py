"""The demo has goods under way, apart, counted and called back; its shelves stay what the files say."""


from trays.catalogue.models_drafts import CatalogueDraft
from trays.ledger.queries import verify
from trays.stock.models import Unit
from trays.stock.models_apart import SetApart, SupplierReturn
from trays.stock.models_notices import SafetyNotice
from trays.stock.models_takes import StockTake
from trays.stock.models_transfers import Transfer
from trays.stock.verify import stock_faults


def test_goods_are_at_every_stage(loaded):
    assert sorted(Transfer.objects.values_list("status", flat=True)) == ["closed", "sent"]
    assert sorted(SupplierReturn.objects.values_list("status", flat=True)) == ["gathered", "sent"]
    assert StockTake.objects.get().status == "agreed"
    assert CatalogueDraft.objects.get().status == "open"
    notice = SafetyNotice.objects.get()
    assert sorted(notice.units.values_list("outcome", flat=True)) == ["open", "secured"]
    causes = set(SetApart.objects.filter(ended_at__isnull=True).values_list("cause", flat=True))
    assert causes == {"damaged", "notice", "short_dated"}


def test_the_place_where_goods_come_in_has_nothing_that_may_be_used(loaded):
    hall = Unit.objects.filter(site__code="larkmere", place__code="IS")
    assert not hall.filter(state__in=Unit.ON_HAND).exists()
    assert stock_faults() == []
    assert verify() == []
