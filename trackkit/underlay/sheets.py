"""A plan as it lies in its file: a photo, a scan, or a page of a PDF."""

from __future__ import annotations

import os
import reprlib
from dataclasses import dataclass

import numpy as np

from trackkit.errors import UnderlayError
from trackkit.underlay.packages import load
from trackkit.underlay.picture import Pixels, is_pdf, lies_somewhere

PDF_DOTS_PER_INCH = 200.0
_MM_PER_INCH = 25.4
_POINTS_PER_INCH = 72.0
MOST_PIXELS = 100_000_000
"""Of a plan, as it is read and as it is drawn anew: 400 MB of memory."""


@dataclass(frozen=True)
class UnplacedPlan:
    """A plan that does not say where it lies, to be laid by points on the page of the editor.

    Parameters
    ----------
    path
        A photo, a scan or a PDF.
    page
        Of a PDF, from 1.
    credit
        Whose plan it is; the page asks for it where it is empty.
    most_bytes
        By how much the page may grow by it.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.UnplacedPlan("paddock.pdf", page=2)
    UnplacedPlan('paddock.pdf', page=2, credit='')
    """

    path: str
    page: int = 1
    credit: str = ""
    most_bytes: int = 3_000_000

    def __repr__(self) -> str:
        path, credit = reprlib.repr(self.path), reprlib.repr(self.credit)
        return f"UnplacedPlan({path}, page={self.page}, credit={credit})"


def is_plan(path: str | os.PathLike[str]) -> bool:
    """Tell whether a file is a plan: a PDF, or a picture that does not say where it lies.

    Raises
    ------
    UnderlayError
        When it is neither, or can't be read.
    """
    return is_pdf(os.fspath(path)) or not lies_somewhere(path)


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
    return _pdf_page(shown, page) if is_pdf(shown) else (_picture(shown), 1.0)


def pixel_of(path: str | os.PathLike[str]) -> float:
    """Tell the width of a pixel of a plan in the unit that its places are told in.

    Raises
    ------
    UnderlayError
        When it can't be read.
    """
    return _MM_PER_INCH / PDF_DOTS_PER_INCH if is_pdf(os.fspath(path)) else 1.0


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
