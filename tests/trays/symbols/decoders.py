"""Readers of symbols, independent of each other: zxing-cpp in the process, libdmtx and zbar as programs."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy
import pytest
import zxingcpp
from PIL import Image, ImageFilter

from tests.trays.symbols.rendering import Dots

# What a GS1 symbol begins with and a reader may pass on: it separates nothing.
_FNC1 = "\x1d"
PROGRAMS = {"dmtxread": "dmtx-utils", "zbarimg": "zbar-tools", "pdftoppm": "poppler-utils"}


def missing() -> str:
    """Which programs are not installed, with the packages that bring them; "" for none."""
    lacking = [f"{name} (package {package})" for name, package in PROGRAMS.items() if not shutil.which(name)]
    return ", ".join(lacking)


def need_second_decoder() -> None:
    """Skip with the reason; fail with it where the run was told to require it."""
    if lacking := missing():
        reason = f"no second decoder: {lacking}"
        if os.environ.get("TRAYSPAN_REQUIRE_DECODERS", "0") == "1":
            pytest.fail(f"required by TRAYSPAN_REQUIRE_DECODERS=1, but {reason}", pytrace=False)
        pytest.skip(reason)


def zxing(dots: Dots) -> str:
    """What zxing-cpp reads of the one symbol on a picture, separators as they are; "" for nothing."""
    found = zxingcpp.read_barcodes(numpy.ascontiguousarray(dots))
    identifiers = {one.symbology_identifier for one in found}
    if len(found) != 1 or not identifiers <= {"]d2", "]C1"}:
        return ""
    return found[0].bytes.decode("ascii")


def libdmtx(dots: Dots) -> str:
    """What libdmtx reads of the one DataMatrix on a picture."""
    return _by_program(dots, lambda file: ["dmtxread", "-n", "-N1", "-G", "29", "-m", "2000", file])


def zbar(dots: Dots) -> str:
    """What zbar reads of the one linear symbol on a picture."""
    return _by_program(dots, lambda file: ["zbarimg", "--raw", "-q", "-Sbinary", file])


def _by_program(dots: Dots, command: Callable[[str], list[str]]) -> str:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "symbol.png"
        Image.fromarray(dots).save(file, compress_level=1)
        ran = subprocess.run(command(str(file)), capture_output=True, timeout=30, check=False)
    return ran.stdout.decode("latin-1").removesuffix("\n").removeprefix(_FNC1)


def by_poppler(pdf: bytes, dpi: int) -> list[Dots]:
    """Every page as grey dots by another renderer than the one that `rendering` uses."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "page.pdf"
        source.write_bytes(pdf)
        command = ["pdftoppm", "-r", str(dpi), "-gray", str(source), str(Path(folder) / "page")]
        subprocess.run(command, check=True, timeout=60)
        pictures = sorted(Path(folder).glob("page*.pgm"))
        return [numpy.asarray(Image.open(picture).convert("L")) for picture in pictures]


def spoiled(dots: Dots, module: float) -> Dots:
    """As a camera may see it: turned by three degrees, blurred by a quarter of a module."""
    picture = Image.fromarray(dots)
    turned = picture.rotate(3, resample=Image.Resampling.BICUBIC, expand=True, fillcolor=255)
    return numpy.asarray(turned.filter(ImageFilter.GaussianBlur(module / 4)))
