"""Columns for the keys of GS1: digits with a check digit, and keys that end in a serial."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from trays.exchange.columns import Column, Setting, Unfit, shown
from trays.identifiers.checkdigits import CSET_82, gtin14, holds_mod10, is_digits


@dataclass(frozen=True)
class Gtin(Column):
    """A GTIN of 8, 12, 13 or 14 digits, kept as 14; a spreadsheet may have dropped its leading zeros."""

    default: str = ""

    def parse(self, text: str, setting: Setting) -> str:
        try:
            return gtin14(text)
        except ValueError:
            raise Unfit(
                _("“%(text)s” is not a GTIN: 8, 12, 13 or 14 digits, the last a check digit.")
                % {"text": shown(text)},
                _("Copy it from the pack or from the supplier's list."),
            ) from None

    @property
    def form(self) -> str:
        return _("GTIN, 8 to 14 digits")


@dataclass(frozen=True)
class Gln(Column):
    """A GLN, or the GRAI's asset type: thirteen digits, the last a check digit."""

    default: str = ""

    def parse(self, text: str, setting: Setting) -> str:
        if len(text) != 13 or not is_digits(text) or not holds_mod10(text):
            raise Unfit(
                _("“%(text)s” is not thirteen digits with the last a check digit.") % {"text": shown(text)},
                _("Copy it from the list it comes from; put back any leading zero."),
            )
        return text

    @property
    def form(self) -> str:
        return _("thirteen digits, the last a check digit")


@dataclass(frozen=True)
class AssetKey(Column):
    """A GRAI (asset type and serial) or a GIAI, without its application identifier: at most 30 signs."""

    default: str | None = None
    returnable: bool = False

    def parse(self, text: str, setting: Setting) -> str:
        fits = len(text) <= 30 and all(sign in CSET_82 for sign in text)
        if self.returnable:
            fits = fits and len(text) > 14 and text[0] == "0" and holds_mod10(text[1:14])
        if not fits:
            raise Unfit(
                _("“%(text)s” is not such a key.") % {"text": shown(text)},
                _("A GRAI is 0, thirteen digits and a serial.")
                if self.returnable
                else _("A GIAI has at most 30 letters, digits and signs."),
            )
        return text

    @property
    def form(self) -> str:
        return _("GRAI without (8003)") if self.returnable else _("GIAI without (8004)")
