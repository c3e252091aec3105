"""An order changes only along its ways, is frozen once approved, and ends; nothing of it is ever deleted."""

from trays.ledger.guards import append_only, kept, refusing, register
from trays.orders.ways import WAYS

for _table in ("trays_order", "trays_orderline", "trays_delivery", "trays_deliveryline"):
    register(kept(_table))
for _table in ("trays_ordersend", "trays_orderpaper"):
    register(append_only(_table))

# Written as one list of pairs, so that the law in the database is the table of the program.
_PAIRS = ", ".join(f"'{before}>{after}'" for before, follows in WAYS.items() for after in follows)
_STEP = "OLD.state <> NEW.state"
_OPEN_LINES = "EXISTS (SELECT 1 FROM trays_orderline WHERE order_id = NEW.id AND \"end\" = '')"

ORDER_BY_WAY = register(
    refusing(
        "order_by_way",
        "trays_order",
        on="UPDATE OF state",
        when=f"{_STEP} AND OLD.state || '>' || NEW.state NOT IN ({_PAIRS})",
        message="order_no_way",
    )
)
ORDER_ENDS_LINES = register(
    refusing(
        "order_ends_lines",
        "trays_order",
        on="UPDATE OF state",
        when=f"{_STEP} AND NEW.state IN ('closed', 'cancelled') AND {_OPEN_LINES}",
        message="order_with_open_lines",
    )
)
ORDER_FROZEN = register(
    refusing(
        "order_frozen",
        "trays_order",
        on="UPDATE",
        when="OLD.state <> 'draft' AND (OLD.number <> NEW.number OR OLD.site_id <> NEW.site_id "
        "OR OLD.supplier_id <> NEW.supplier_id OR OLD.kind <> NEW.kind OR OLD.currency <> NEW.currency "
        "OR OLD.note <> NEW.note OR COALESCE(CAST(OLD.needed_by AS text), '') "
        "<> COALESCE(CAST(NEW.needed_by AS text), '') "
        "OR COALESCE(OLD.approval_id, 0) <> COALESCE(NEW.approval_id, 0))",
        message="order_frozen",
    )
)
LINE_FROZEN = register(
    refusing(
        "order_line_frozen",
        "trays_orderline",
        on="UPDATE",
        when="OLD.order_id <> NEW.order_id OR ((OLD.number <> NEW.number "
        "OR OLD.component_id <> NEW.component_id OR OLD.quantity <> NEW.quantity "
        "OR COALESCE(OLD.unit_price, -1) <> COALESCE(NEW.unit_price, -1) OR OLD.currency <> NEW.currency "
        "OR OLD.cause <> NEW.cause OR OLD.lot <> NEW.lot OR OLD.serial <> NEW.serial) AND NOT EXISTS "
        "(SELECT 1 FROM trays_order WHERE id = OLD.order_id AND state = 'draft'))",
        message="order_line_frozen",
    )
)
LINE_INTO_DRAFT = register(
    refusing(
        "order_line_into_draft",
        "trays_orderline",
        on="INSERT",
        when="NOT EXISTS (SELECT 1 FROM trays_order WHERE id = NEW.order_id AND state = 'draft')",
        message="order_line_into_draft",
    )
)

# What a line says has come is what its deliveries say.
DELIVERED_IS_SUM = register(
    refusing(
        "order_line_delivered",
        "trays_orderline",
        on="UPDATE OF delivered_quantity",
        when="NEW.delivered_quantity <> COALESCE((SELECT sum(quantity) FROM trays_deliveryline "
        "WHERE order_line_id = NEW.id AND settles AND taken_back_at IS NULL), 0)",
        message="order_line_delivered",
    )
)
# What was scanned stays what it was; it may be taken back once.
DELIVERY_LINE_FROZEN = register(
    refusing(
        "delivery_line_frozen",
        "trays_deliveryline",
        on="UPDATE",
        when="OLD.taken_back_at IS NOT NULL OR OLD.delivery_id <> NEW.delivery_id "
        "OR OLD.number <> NEW.number OR COALESCE(OLD.order_line_id, 0) <> COALESCE(NEW.order_line_id, 0) "
        "OR OLD.arrival_id <> NEW.arrival_id OR OLD.quantity <> NEW.quantity OR OLD.settles <> NEW.settles",
        message="delivery_line_frozen",
    )
)
