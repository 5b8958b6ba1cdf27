"""One page of A4 as PDF/A-3B: words in the shipped font, shapes, pictures, one attachment.

Millimetres from the top left corner. The same calls make the same bytes: the document's time is
the one that it is given, and nothing else in it comes from a clock or from chance.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from html import escape
from importlib.resources import as_file, files
from io import BytesIO

import numpy as np
import numpy.typing as npt
from fpdf import FPDF, ViewerPreferences
from fpdf.bidi import BidiParagraph
from fpdf.fonts import TTFFont
from PIL import Image

from rigvision.ground.conventions import FloatArray
from rigvision.ground.shown import one_line
from rigvision.report.canvas import Colour, Stroke

WIDTH_MM, HEIGHT_MM = 210.0, 297.0
BLACK: Colour = (0, 0, 0)
#: Longer texts are cut before they are set: none so long has room.
MOST_CHARACTERS = 1200
_MM_PER_PT = 25.4 / 72.0
_FAMILY = "dejavu"
_FILES = {"": "DejaVuSans.ttf", "B": "DejaVuSans-Bold.ttf"}
_TURNED = str.maketrans("()[]{}<>«»", ")(][}{><»«")


@dataclass(frozen=True, slots=True)
class Style:
    """How words are set; ``step_mm`` leads from one line to the next."""

    size_pt: float
    bold: bool = False
    colour: Colour = BLACK

    @property
    def step_mm(self) -> float:
        return 1.3 * self.size_pt * _MM_PER_PT


class Sheet:
    """The page that is being made. ``title`` and ``maker`` are words of ours, not from outside."""

    def __init__(self, title: str, maker: str, created: datetime) -> None:
        pdf = FPDF(format="A4", enforce_compliance="PDF/A-3B")
        pdf.set_creation_date(created)
        pdf.set_title(title)
        pdf.set_creator(maker)
        pdf.set_producer(maker)
        pdf.set_lang("en")
        pdf.set_xmp_metadata(_xmp(title, maker, created))
        pdf.viewer_preferences = ViewerPreferences(display_doc_title=True)
        pdf.set_auto_page_break(False)
        for style, name in _FILES.items():
            with as_file(files("rigvision.report") / "fonts" / name) as path:
                pdf.add_font(_FAMILY, style, path)
        pdf.add_page()
        self._pdf = pdf
        self._created = created
        plain, bold = (_font(pdf, style) for style in _FILES)
        self._widths = {False: plain.cw, True: bold.cw}
        self._known = frozenset(plain.cmap) & frozenset(bold.cmap)

    # Words

    def words(
        self,
        x_mm: float,
        top_mm: float,
        text: str,
        style: Style,
        width_mm: float,
        align: str = "left",
    ) -> float:
        """One line, cut where it would be wider; gives the top of the next."""
        face = self._measure(style)
        shown = _shortened(self.printable(text), face, width_mm)
        used_mm = face.length_mm(shown)
        left = {"left": 0.0, "right": width_mm - used_mm, "middle": (width_mm - used_mm) / 2.0}
        self._set(x_mm + left[align], top_mm, shown, style)
        return top_mm + style.step_mm

    def paragraph(
        self,
        x_mm: float,
        top_mm: float,
        text: str,
        style: Style,
        width_mm: float,
        most_lines: int,
    ) -> float:
        """Wrapped words, the last line cut where there are more; gives the top of what follows."""
        for line in self.lines(text, style, width_mm, most_lines):
            self._set(x_mm, top_mm, line, style)
            top_mm += style.step_mm
        return top_mm

    def lines(self, text: str, style: Style, width_mm: float, most: int) -> list[str]:
        """The words in lines no wider than this, as they will be set; at most so many."""
        face = self._measure(style)
        lines = _wrapped(self.printable(text), face, width_mm)
        if len(lines) > most:
            lines[most - 1 :] = [_shortened(" ".join(lines[most - 1 : most + 1]), face, width_mm)]
        return lines

    def width_mm(self, text: str, style: Style) -> float:
        return self._measure(style).length_mm(self.printable(text))

    def printable(self, text: str) -> str:
        """One harmless line of characters that the font has; of others their number is shown.

        Of ``王`` that is ``[U+738B]``: what stands in the maintenance record stays distinct.
        """
        plain = unicodedata.normalize("NFC", one_line(text, MOST_CHARACTERS))
        return "".join(c if ord(c) in self._known else f"[U+{ord(c):04X}]" for c in plain)

    def _measure(self, style: Style) -> _Measure:
        return _Measure(self._widths[style.bold], style.size_pt)

    def _set(self, x_mm: float, top_mm: float, line: str, style: Style) -> None:
        self._pdf.set_font(_FAMILY, "B" if style.bold else "", style.size_pt)
        self._pdf.set_text_color(*style.colour)
        self._pdf.text(x_mm, top_mm + style.size_pt * _MM_PER_PT, _as_read(line))

    # Shapes

    def box(
        self,
        left_mm: float,
        top_mm: float,
        width_mm: float,
        height_mm: float,
        fill: Colour | None,
        edge_mm: float = 0.0,
        dashed: bool = False,
    ) -> None:
        """A rectangle, filled or with a black edge or both."""
        if fill is not None:
            self._pdf.set_fill_color(*fill)
        if edge_mm:
            self._pdf.set_draw_color(*BLACK)
            self._pdf.set_line_width(edge_mm)
        if dashed:
            self._pdf.set_dash_pattern(dash=2.0, gap=1.2)
        style = ("F" if fill is not None else "") + ("D" if edge_mm else "")
        self._pdf.rect(left_mm, top_mm, width_mm, height_mm, style=style)
        if dashed:
            self._pdf.set_dash_pattern()

    def rule(self, left_mm: float, y_mm: float, right_mm: float, width_mm: float = 0.2) -> None:
        self._pdf.set_draw_color(*BLACK)
        self._pdf.set_line_width(width_mm)
        self._pdf.line(left_mm, y_mm, right_mm, y_mm)

    def disc(self, x: float, y: float, radius_px: float, fill: Colour) -> None:
        """As ``Canvas`` draws it, in hundredths of a millimetre."""
        self._pdf.set_fill_color(*fill)
        self._pdf.circle(x / 100.0, y / 100.0, radius_px / 100.0, style="F")

    def polygon(self, points: FloatArray, fill: Colour) -> None:
        """As ``Canvas`` draws it, in hundredths of a millimetre."""
        self._pdf.set_fill_color(*fill)
        self._pdf.polygon([(float(x), float(y)) for x, y in points / 100.0], style="F")

    def line(self, points: FloatArray, stroke: Stroke) -> None:
        """As ``Canvas`` draws it, in hundredths of a millimetre, with round ends."""
        self._pdf.set_draw_color(*stroke.colour)
        self._pdf.set_line_width(stroke.width_px / 100.0)
        self._pdf.polyline([(float(x), float(y)) for x, y in points / 100.0])
        for x, y in points:
            self.disc(float(x), float(y), stroke.width_px / 2.0, stroke.colour)

    # Pictures, attachment

    def photo(self, jpeg: bytes, left_mm: float, top_mm: float, width_mm: float) -> None:
        """A JPEG, embedded byte for byte."""
        self._pdf.image(BytesIO(jpeg), left_mm, top_mm, w=width_mm)

    def code(
        self, modules: npt.NDArray[np.uint8], left_mm: float, top_mm: float, side_mm: float
    ) -> None:
        """A code's modules (N, N) as a square; several pixels each, as viewers may smooth."""
        large = np.kron(modules, np.ones((8, 8), np.uint8))
        self._pdf.image(Image.fromarray(large), left_mm, top_mm, w=side_mm)

    def attach(self, name: str, content: bytes, description: str) -> None:
        """A file that the page was made from (``AFRelationship`` Data)."""
        self._pdf.embed_file(
            bytes=content,
            basename=name,
            mime_type="application/json",
            associated_file_relationship="Data",
            desc=description,
            creation_date=self._created,
            modification_date=self._created,
            compress=True,
        )

    def finish(self) -> bytes:
        """The document; nothing can be added afterwards."""
        if self._pdf.pages_count != 1:
            raise AssertionError(f"the page became {self._pdf.pages_count}")
        return bytes(self._pdf.output())


@dataclass(frozen=True, slots=True)
class _Measure:
    """How wide words are in one size of the font."""

    widths: Mapping[int, float]
    size_pt: float

    def length_mm(self, words: str) -> float:
        return sum(self.widths[ord(c)] for c in words) * self.size_pt * 0.001 * _MM_PER_PT


def _font(pdf: FPDF, style: str) -> TTFFont:
    font = pdf.fonts[_FAMILY + style]
    assert isinstance(font, TTFFont)
    return font


def _shortened(text: str, face: _Measure, width_mm: float) -> str:
    """The words, cut with an ellipsis where they would be wider than this."""
    if face.length_mm(text) <= width_mm:
        return text
    return _beginning(text, face, width_mm - face.length_mm("…")) + "…"


def _wrapped(text: str, face: _Measure, width_mm: float) -> list[str]:
    """Broken at spaces; a word too long for a line, anywhere."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and face.length_mm(longer) <= width_mm:
            lines[-1] = longer
            continue
        while word:
            lines.append(_beginning(word, face, width_mm) or word[0])
            word = word[len(lines[-1]) :]
    return lines


def _beginning(text: str, face: _Measure, width_mm: float) -> str:
    """As many characters as fit."""
    used_mm = 0.0
    for at, character in enumerate(text):
        used_mm += face.length_mm(character)
        if used_mm > width_mm:
            return text[:at]
    return text


def _as_read(line: str) -> str:
    """A line in the order that it is set from left to right, where some of it is read leftwards.

    Brackets in such a part are turned, as they open towards the right there (UAX #9, L4).
    """
    if not any(unicodedata.bidirectional(c) in ("R", "AL") for c in line):
        return line
    ordered = BidiParagraph(line).get_reordered_characters()
    return "".join(
        c.character.translate(_TURNED) if c.embedding_level % 2 else c.character for c in ordered
    )


def _xmp(title: str, maker: str, created: datetime) -> str:
    """The metadata that PDF/A asks for (ISO 19005-3, 6.6), with no time but the document's."""
    time = created.isoformat(timespec="seconds")
    return f"""<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about=""
  xmlns:dc="http://purl.org/dc/elements/1.1/"
  xmlns:xmp="http://ns.adobe.com/xap/1.0/"
  xmlns:pdf="http://ns.adobe.com/pdf/1.3/"
  xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/"
  xmp:CreatorTool="{escape(maker)}" xmp:CreateDate="{time}" xmp:ModifyDate="{time}"
  xmp:MetadataDate="{time}" pdf:Producer="{escape(maker)}">
<pdfaid:part>3</pdfaid:part>
<pdfaid:conformance>B</pdfaid:conformance>
<dc:format>application/pdf</dc:format>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{escape(title)}</rdf:li></rdf:Alt></dc:title>
</rdf:Description>
</rdf:RDF>
</x:xmpmeta>"""
