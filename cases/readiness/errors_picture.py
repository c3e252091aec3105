"""A prediction's error law as a picture: how often what is used is so many sizes from what was predicted."""

from django.utils.translation import gettext as _

from cases.forecasts.learnt import ErrorLaw
from cases.readiness.picture import Picture, Shape, Text
from trays.web.wording import likely

_LEFT, _PITCH, _BAR, _FULL, _TOP = 84, 48, 28, 96, 28


def errors_picture(*, title: str, law: ErrorLaw, key: str) -> Picture:
    """Bars for what is learnt, a stroke at either side for the table before any outcome."""
    half = len(law.offsets) // 2
    most = max((*law.offsets, *law.table))
    scale = 0.40 if most <= 0.40 else 0.60 if most <= 0.60 else 1.0
    axis, right = _TOP + _FULL, _LEFT + _PITCH * len(law.offsets)
    shapes, texts = [], [Text("s", "0", f"{axis - _FULL + 5}", _("Likely"))]
    for line in range(1, round(scale / 0.2) + 1):
        y = round(axis - _FULL * line * 0.2 / scale, 1)
        shapes.append(Shape("grid", f"M{_LEFT - 6} {y:g}H{right}"))
        texts.append(Text("s e", f"{_LEFT - 12}", f"{y + 5:g}", f"{line * 20}"))
    for place, (learnt, before) in enumerate(zip(law.offsets, law.table, strict=True)):
        middle = _LEFT + _PITCH * place + _PITCH // 2
        high, stroke = round(_FULL * learnt / scale, 1), round(axis - _FULL * before / scale, 1)
        if learnt >= 0.005:
            x = middle - _BAR // 2
            shapes.append(Shape("like", f"M{x} {axis - high:g}h{_BAR}v{high:g}h-{_BAR}z"))
        if before >= 0.01:
            # Beside the bar, so that a low bar is not hidden.
            shapes.append(Shape("post", f"M{middle - 22} {stroke:g}h7M{middle + 15} {stroke:g}h7"))
        above = min(axis - high, stroke) - 6
        texts.append(Text("m b" if learnt >= 0.005 else "m s", f"{middle}", f"{above:g}", likely(learnt)))
        texts.append(Text("m size", f"{middle}", f"{axis + 24}", offset_label(place - half)))
    shapes.append(Shape("axis", f"M{_LEFT - 6} {axis}H{right}"))
    texts.append(Text("s", "0", f"{axis + 24}", _("Sizes off")))
    return Picture(
        key=key,
        title=title,
        desc=_desc(law),
        width=f"{right + 8}",
        height=f"{axis + 34}",
        shapes=tuple(shapes),
        texts=tuple(texts),
        heads=(_("Used minus predicted, in sizes"), _("Learnt, in 100"), _("Table before, in 100")),
        rows=tuple(
            (offset_label(place - half), likely(learnt), likely(before))
            for place, (learnt, before) in enumerate(zip(law.offsets, law.table, strict=True))
        ),
        gaps=(),
        scrolls=False,
    )


def offset_label(offset: int) -> str:
    """ "+1", "0", "−1" with a true minus."""
    return "0" if offset == 0 else f"{offset:+d}".replace("-", "−")


def mean_error(chances: tuple[float, ...]) -> float:
    """Mean of used minus predicted, in sizes."""
    half = len(chances) // 2
    return sum(chance * (place - half) for place, chance in enumerate(chances))


def _desc(law: ErrorLaw) -> str:
    half = len(law.offsets) // 2
    return _("As predicted in %(exact)s of 100; by the table before in %(before)s.") % {
        "exact": likely(law.offsets[half]),
        "before": likely(law.table[half]),
    }
