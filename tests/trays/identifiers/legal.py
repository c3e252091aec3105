"""Legal data for every AI of the table, drawn at random: what the properties are tried on."""

from datetime import date, timedelta
from random import Random

from trays.identifiers import codelists, table
from trays.identifiers.checkdigits import CSET_82, check_pair, with_mod10
from trays.identifiers.gs1 import Element
from trays.identifiers.lint import CSET_39, CSET_64
from trays.identifiers.table import Component

_SETS = {"N": "0123456789", "X": CSET_82, "Y": CSET_39, "Z": CSET_64}


def text(rng: Random, signs: str, least: int, most: int) -> str:
    return "".join(rng.choices(signs, k=rng.randint(least, most)))


def _day(rng: Random) -> date:
    return date(2000, 1, 1) + timedelta(days=rng.randrange(18_000))


def _iban(rng: Random) -> str:
    account = text(rng, "0123456789ABC", 8, 30)
    rest = int("".join(str(int(c, 36)) for c in account + "GB00")) % 97
    return f"GB{98 - rest:02d}{account}"


# Components whose checks settle what they may hold.
_BY_CHECK = {
    "yymmd0": lambda rng: _day(rng).strftime("%y%m%d"),
    "yymmdd": lambda rng: _day(rng).strftime("%y%m%d"),
    "yyyymmdd": lambda rng: _day(rng).strftime("%Y%m%d"),
    "hhmi": lambda rng: f"{rng.randrange(24):02d}{rng.randrange(60):02d}",
    "hh": lambda rng: f"{rng.randrange(24):02d}",
    "mi": lambda rng: f"{rng.randrange(60):02d}",
    "ss": lambda rng: f"{rng.randrange(60):02d}",
    "pieceoftotal": lambda rng: f"{rng.randint(1, 7):02d}{rng.randint(7, 99):02d}",
    "posinseqslash": lambda rng: f"{rng.randint(1, 4)}/{rng.randint(4, 9)}",
    "zero": lambda rng: "0",
    "yesno": lambda rng: rng.choice("01"),
    "winding": lambda rng: rng.choice("019"),
    "hyphen": lambda rng: "-",
    "importeridx": lambda rng: rng.choice(CSET_64),
    "mediatype": lambda rng: rng.choice(["01", "10", "80", "99"]),
    "iso5218": lambda rng: rng.choice("0129"),
    "iso3166": lambda rng: rng.choice(sorted(codelists.COUNTRIES)),
    "iso3166999": lambda rng: rng.choice([*sorted(codelists.COUNTRIES), "999"]),
    "iso3166alpha2": lambda rng: rng.choice(sorted(codelists.COUNTRY_LETTERS)),
    "iso4217": lambda rng: rng.choice(sorted(codelists.CURRENCIES)),
    "iban": _iban,
    "latitude": lambda rng: f"{rng.randint(0, 1_800_000_000):010d}",
    "longitude": lambda rng: f"{rng.randint(0, 3_600_000_000):010d}",
    "nozeroprefix": lambda rng: str(rng.randint(0, 999_999_999_999)),
    "pcenc": lambda rng: rng.choice(["A%20B", "%C3%84", "x"]) + text(rng, "abcXYZ019", 0, 9),
}


def _piece(component: Component, rng: Random) -> str:
    checks = component.checks
    for name in checks:
        if name in _BY_CHECK:
            return _BY_CHECK[name](rng)
    signs, least, most = _SETS[component.charset], component.least, component.most
    if "csum" in checks:
        return with_mod10(text(rng, signs, most - 1, most - 1))
    if "csumalpha" in checks:
        body = text(rng, "0123456789", 4, 4) + "a" + text(rng, signs, 0, most - 7)
        return body + check_pair(body)
    if "nonzero" in checks:
        return text(rng, signs, most - 1, most - 1) + "7"
    front = text(rng, "0123456789", 4, 4) if "gcppos1" in checks and component.charset != "N" else ""
    return front + text(rng, signs, max(least - len(front), 0), most - len(front))


def element(ai: str, rng: Random) -> Element:
    """One element whose data keeps every rule; optional pieces are there or not."""
    value = ""
    for component in table.definitions()[ai].components:
        if component.optional and rng.random() < 0.4:
            break
        value += _piece(component, rng)
    return Element(ai, value)


def companions(ai: str) -> tuple[str, ...]:
    """The AI with others beside it so that every pairing rule holds."""
    found = _closed((ai,))
    if found is None:
        raise AssertionError(f"({ai}) has no legal company")
    return found


def _closed(ais: tuple[str, ...]) -> tuple[str, ...] | None:
    known = table.definitions()
    if any(known[a].excluded & set(ais) for a in ais):
        return None
    for ai in ais:
        for groups in known[ai].needs:
            if any(all(table.expanded(p) & set(ais) for p in group) for group in groups):
                continue
            ways = (tuple(min(table.expanded(p)) for p in group) for group in groups)
            wider = (_closed((*ais, *(a for a in way if a not in ais))) for way in ways)
            return next((one for one in wider if one is not None), None)
    return ais


def beside(first: str, rng: Random, most: int = 4) -> tuple[str, ...]:
    """Some AIs, different ones, that may lack company but never contradict each other."""
    known = table.definitions()
    taken = [first]
    for ai in rng.sample(sorted(known), most):
        if ai not in taken and not any(ai in known[a].excluded or a in known[ai].excluded for a in taken):
            taken.append(ai)
    rng.shuffle(taken)
    return tuple(taken)
