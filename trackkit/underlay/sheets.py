"""A plan as it lies in its file: a photo, a scan, or a page of a PDF."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from trackkit.errors import UnderlayError, reading_failed
from trackkit.underlay.packages import load
from trackkit.underlay.picture import Pixels

PDF_DOTS_PER_INCH = 200.0
_MM_PER_INCH = 25.4
_POINTS_PER_INCH = 72.0
MOST_PIXELS = 100_000_000
"""Of a plan, as it is read and as it is drawn anew: 400 MB of memory."""


def read_sheet(path: str | os.PathLike[str], *, page: int = 1) -> tuple[Pixels, float]:
    """Read a plan, upright as programs show it.

    Parameters
    ----------
    path
        A PDF, or a picture: JPEG, PNG, TIFF or WebP.
    page
        Of a PDF, from 1.

    Returns
    -------
    Red, green, blue and how opaque, 0 to 255, shape (height, width, 4); and pixels in one unit of
    the plan: 1 for a picture, whose places are told in pixels, and pixels a millimetre for a PDF.

    Raises
    ------
    UnderlayError
        When it can't be read.
    """
    shown = os.fspath(path)
    try:
        with Path(path).open("rb") as file:
            begin = file.read(1024)
    except OSError as error:
        raise UnderlayError(reading_failed(path, error), file=shown) from error
    # A PDF's header may stand anywhere in the first 1024 bytes (PDF Reference 1.7, appendix H).
    return _pdf_page(shown, page) if b"%PDF-" in begin else (_picture(shown), 1.0)


def _picture(path: str) -> Pixels:
    image = load("PIL.Image", path)
    turned = load("PIL.ImageOps", path)
    try:
        with image.open(path) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise UnderlayError(
                    f"has {opened.width * opened.height / 1e6:.0f} million pixels",
                    file=path,
                    remedy=f"make it smaller: at most {MOST_PIXELS / 1e6:.0f} million are taken",
                )
            # How a camera was held: tag Orientation of Exif 2.3.
            upright = turned.exif_transpose(opened)
            return np.asarray(upright.convert("RGBA"))
    except (OSError, ValueError, SyntaxError, image.DecompressionBombError) as error:
        raise UnderlayError(
            "is no picture that can be read",
            file=path,
            remedy="give a photo or a scan (JPEG, PNG, TIFF or WebP), or a PDF",
        ) from error


def _pdf_page(path: str, page: int) -> tuple[Pixels, float]:
    pdfium = load("pypdfium2", path)
    try:
        document = pdfium.PdfDocument(path)
    except pdfium.PdfiumError as error:
        raise UnderlayError(f"is no PDF that can be read ({error})", file=path) from error
    try:
        if not 1 <= page <= len(document):
            raise UnderlayError(f"has {len(document)} pages, and none numbered {page}", file=path)
        sheet = document[page - 1]
        scale = PDF_DOTS_PER_INCH / _POINTS_PER_INCH
        if sheet.get_width() * sheet.get_height() * scale**2 > MOST_PIXELS:
            scale *= float(
                np.sqrt(MOST_PIXELS / (sheet.get_width() * sheet.get_height() * scale**2))
            )
        pixels = np.asarray(sheet.render(scale=scale).to_pil().convert("RGBA"))
    finally:
        document.close()
    return pixels, scale * _POINTS_PER_INCH / _MM_PER_INCH
