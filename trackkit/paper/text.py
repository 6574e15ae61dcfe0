"""Text on paper: which fonts have its letters, how wide it is, and what has to be left off."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

MM_PER_POINT = 25.4 / 72.0
FONT = "DejaVu Sans"
"""Comes with matplotlib, so that the same track makes the same picture everywhere."""
CAPITAL = 0.73
"""Height of a capital letter of `FONT`, in its size."""
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
_ELLIPSIS = "…"
_COPYRIGHT, _LICENCE = 0, 13
"""Numbers of a font's own texts in its table of names (ISO/IEC 14496-22, from memory)."""


@dataclass(frozen=True)
class Lettering:
    """Fonts that together have the letters of some texts, as far as this computer has them.

    Parameters
    ----------
    families
        Names of fonts, the first to be looked in first.
    missing
        Characters that none of them has.
    """

    families: tuple[str, ...]
    missing: tuple[str, ...]

    @classmethod
    def for_texts(cls, texts: Iterable[str]) -> Lettering:
        """Find fonts for some texts: `FONT`, and others only for letters that it lacks."""
        from matplotlib.font_manager import fontManager, get_font

        wanted = {letter for text in texts for letter in _printable(text)}
        families = [FONT]
        lacking = wanted - _letters(get_font(fontManager.findfont(FONT)))
        if lacking:
            regular = (
                font
                for font in fontManager.ttflist
                if font.style == "normal"
                and font.weight in (400, "normal", "regular")
                # A font of the last resort has a box for every letter.
                and "Last Resort" not in font.name
            )
            for font in sorted(regular, key=lambda font: (font.name, font.fname)):
                had = lacking & _letters(get_font(font.fname))
                if had:
                    families.append(font.name)
                    lacking -= had
        return cls(tuple(families), tuple(sorted(lacking)))

    def clean(self, text: str) -> str:
        """Put a text in one line, with a replacement character where no font has a letter."""
        missing = set(self.missing)
        return "".join(REPLACEMENT if c in missing else c for c in _printable(text)).strip()

    def width_mm(self, text: str, size_pt: float, *, bold: bool = False) -> float:
        """Width of a clean text, millimetres."""
        if not text:
            return 0.0
        return _width_pt(text, self.families, size_pt, self.weight(bold=bold)) * MM_PER_POINT

    def clipped(self, text: str, size_pt: float, width_mm: float, *, bold: bool = False) -> str:
        """Cut a clean text short, with an ellipsis, where it is wider than there is room."""
        if self.width_mm(text, size_pt, bold=bold) <= width_mm:
            return text
        short, long = 0, len(text)
        while long - short > 1:
            middle = (short + long) // 2
            trial = text[:middle].rstrip() + _ELLIPSIS
            if self.width_mm(trial, size_pt, bold=bold) <= width_mm:
                short = middle
            else:
                long = middle
        return text[:short].rstrip() + _ELLIPSIS

    def wrapped(self, text: str, size_pt: float, width_mm: float, most: int) -> list[str]:
        """Break a clean text into lines, the last of at most `most` cut short."""
        lines: list[str] = []
        words = text.split()
        while words and len(lines) < most:
            count = 1
            while count < len(words) and (
                self.width_mm(" ".join(words[: count + 1]), size_pt) <= width_mm
            ):
                count += 1
            taken = len(words) if len(lines) == most - 1 else count
            lines.append(self.clipped(" ".join(words[:taken]), size_pt, width_mm))
            words = words[taken:]
        return lines

    def weight(self, *, bold: bool) -> str:
        """Weight to write in: fonts taken for rare letters often have no bold."""
        return "bold" if bold and self.families == (FONT,) else "normal"

    def notices(self) -> str:
        """Give the copyright and the licence that the fonts hold, for files that carry letters."""
        from matplotlib.font_manager import fontManager, get_font

        texts: list[str] = []
        for family in self.families:
            held = _names(get_font(fontManager.findfont(family)))
            texts += [family, *(held[n] for n in (_COPYRIGHT, _LICENCE) if n in held)]
        return "\n\n".join(texts)

    def remarks(self) -> list[str]:
        """Say which letters are replaced."""
        if not self.missing:
            return []
        shown = ", ".join(f"{_shown(c)} (U+{ord(c):04X})" for c in self.missing[:8])
        more = f" and {len(self.missing) - 8} more" if len(self.missing) > 8 else ""
        it = "it" if len(self.missing) == 1 else "them"
        what = f"no font on this computer has {shown}{more}"
        return [f"{what}: the picture shows {REPLACEMENT} there; install a font that has {it}"]


@lru_cache(maxsize=8192)
def _width_pt(text: str, families: tuple[str, ...], size_pt: float, weight: str) -> float:
    """Width of a text, points; an arrangement of tables asks for each one again and again."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    font = FontProperties(family=list(families), size=size_pt, weight=weight)
    return float(text_to_path.get_text_width_height_descent(text, font, False)[0])


def _printable(text: str) -> str:
    """Turn what moves the pen, such as line ends and marks of direction, into spaces or nothing."""
    kept = []
    for letter in unicodedata.normalize("NFC", text):
        kind = unicodedata.category(letter)
        if letter.isspace() or kind == "Cc":
            kept.append(" ")
        elif kind != "Cf":
            kept.append(letter)
    return " ".join("".join(kept).split())


def _shown(letter: str) -> str:
    return REPLACEMENT if unicodedata.category(letter) == "Cs" else letter


def _letters(font: object) -> set[str]:
    return {chr(code) for code in font.get_charmap()} | {" "}  # type: ignore[attr-defined]


def _names(font: object) -> dict[int, str]:
    """Read a font's own texts, in English, by their number."""
    windows, unicode_bmp, american = 3, 1, 0x409
    return {
        number: text.decode("utf-16-be").strip()
        for (platform, encoding, language, number), text in font.get_sfnt().items()  # type: ignore[attr-defined]
        if (platform, encoding, language) == (windows, unicode_bmp, american)
    }
