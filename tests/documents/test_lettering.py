"""Text is measured with the widths of the font that the sheets are set in."""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from PIL import ImageFont

from specc.documents.drafting.lettering import block_height, lines_of, stack, text_width, wrap
from specc.resources import templates_dir

FONTS = templates_dir() / "fonts"
FACES = {"regular": FONTS / "DejaVuSansCondensed.ttf", "bold": FONTS / "DejaVuSansCondensed-Bold.ttf"}
SAMPLES = (
    "R1",
    "8 AWG Cu THWN-2",
    "AVAVA To. Ty",
    "190 ft in C1",
    "Größe 1½ in, 24 V",
    "fi fl ffi",
    "±5 °C, Ω",
    "WELL",
)


def widths_of_font(path: Path) -> dict[str, list[int]]:
    """Advance widths as widths.json holds them: runs of characters by the first one, in hexadecimal."""
    font = TTFont(path)
    glyphs, advances = font.getBestCmap(), font["hmtx"]
    runs: dict[str, list[int]] = {}
    previous, first = -1, ""
    for code in sorted(code for code in glyphs if 0x20 <= code < 0x10000):
        if code != previous + 1 or not first:
            first = f"{code:04x}"
            runs[first] = []
        runs[first].append(advances[glyphs[code]][0])
        previous = code
    return runs


@pytest.mark.parametrize("face", FACES)
def test_the_widths_file_agrees_with_the_shipped_font(face: str) -> None:
    """Source: the hmtx and hhea tables of the font files themselves."""
    data = json.loads((FONTS / "widths.json").read_text(encoding="utf-8"))
    font = TTFont(FACES[face])

    assert data["faces"][face] == widths_of_font(FACES[face])
    assert data["units_per_em"] == font["head"].unitsPerEm
    assert (data["ascent"], -data["descent"]) == (font["hhea"].ascent, font["hhea"].descent)


@pytest.mark.parametrize("bold", [False, True])
@pytest.mark.parametrize("sample", SAMPLES)
def test_measured_width_agrees_with_an_independent_text_engine(sample: str, bold: bool) -> None:
    """Source: Pillow (FreeType), which kerns; so never wider than measured, and at most 12 % narrower."""
    size = 200
    engine = ImageFont.truetype(str(FACES["bold" if bold else "regular"]), size).getlength(sample)

    assert 0.88 * text_width(sample, size, bold) <= engine <= text_width(sample, size, bold)


def test_a_character_that_the_font_lacks_counts_as_a_full_square() -> None:
    assert text_width("\N{CJK UNIFIED IDEOGRAPH-6C34}", 10.0) == pytest.approx(10.1)


def test_wrapped_lines_fit_and_keep_every_word() -> None:
    text = "a weatherproof enclosure for the booster and the fuse"
    lines = wrap(text, 3.0, 20.0)

    assert " ".join(lines) == text
    assert len(lines) > 1
    assert max(text_width(line, 3.0) for line in lines) <= 20.0


def test_a_word_wider_than_the_line_is_cut_without_loss() -> None:
    lines = wrap("x" * 60, 3.0, 20.0)

    assert "".join(lines) == "x" * 60
    assert max(text_width(line, 3.0) for line in lines) <= 20.0


def test_stacked_lines_do_not_touch_and_stay_in_their_block() -> None:
    lines = lines_of("TAG", 3.4, 30.0, bold=True) + lines_of("one caption after the other", 3.0, 20.0)
    texts = stack(lines, 10.0, 5.0, "middle")

    for upper, lower in itertools.pairwise(texts):
        assert upper.box.bottom < lower.box.top
    assert texts[0].box.top >= 5.0
    assert texts[-1].box.bottom <= 5.0 + block_height(lines)
