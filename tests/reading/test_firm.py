"""[firm] and its logo: a picture that is safe to print, or one sentence with line and column."""

from __future__ import annotations

import base64
import struct
import zlib

import pytest

from specc.reading.logo import MOST_BYTES, Logo, LogoFault, read_logo
from specc.reading.read import Reading, read_spec
from tests.reference import edited

SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 40"><path d="M5 35L30 5L55 35Z"/></svg>'


def chunk(kind: bytes, content: bytes) -> bytes:
    """A chunk of a PNG (ISO/IEC 15948, 5.3): length, name, content, CRC-32."""
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


def png(width: int = 3, height: int = 2, *, shown: tuple[int, int] | None = None) -> bytes:
    """A grey PNG; ``shown`` is the size that its head tells, where that is a lie."""
    head = struct.pack(">IIBBBBB", *(shown or (width, height)), 8, 0, 0, 0, 0)
    pixels = zlib.compress((b"\0" + b"\x80" * width) * height)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


def spec(lines: str, files: dict[str, bytes]) -> Reading:
    job, parts = edited({})

    def read_file(name: str) -> bytes:
        if name == "reference-parts.toml":
            return parts
        if name in files:
            return files[name]
        raise FileNotFoundError(2, "No such file or directory", name)

    return read_spec(job + b"\n[firm]\n" + lines.encode(), "job.toml", read_file)


def test_a_firm_with_everything_is_read() -> None:
    reading = spec(
        'name = "Alder Bend Water"\naddress = ["12 Mill Lane", "Harrow"]\nphone = "555 0100"\n'
        'licence = "C-10"\nlogo = "logo.svg"\n',
        {"logo.svg": SVG},
    )
    assert reading.findings == ()
    assert reading.description is not None
    assert reading.description.logo is not None
    assert reading.description.logo.fitted(30.0, 30.0) == pytest.approx((30.0, 20.0))


@pytest.mark.parametrize(
    ("data", "size"),
    [
        (SVG, (60.0, 40.0)),
        (SVG.replace(b'viewBox="0 0 60 40"', b'width="12mm" height="6mm"'), (12.0, 6.0)),
        (SVG.replace(b"<path", b"<style>path { fill: #123 }</style><path"), (60.0, 40.0)),
        (SVG.replace(b"<path", b'<metadata><x xmlns="urn:x" y="z"/></metadata><path'), (60.0, 40.0)),
        (SVG.replace(b"<path", b'<linearGradient id="g"/><path fill="url(#g)"'), (60.0, 40.0)),
    ],
)
def test_a_plain_svg_is_a_logo(data: bytes, size: tuple[float, float]) -> None:
    logo = read_logo(data, "logo.svg")
    assert (logo.width, logo.height) == size
    assert base64.b64decode(logo.address.partition("base64,")[2]) == data


def test_a_png_is_a_logo() -> None:
    assert read_logo(png(30, 20), "LOGO.PNG") == Logo("LOGO.PNG", png(30, 20), "image/png", 30.0, 20.0)


# The fault stands in the second line of each picture.
ACTIVE = {
    "script": "<script>alert(1)</script>",
    "handler": '<path onload="alert(1)" d="M0 0"/>',
    "picture": '<image href="file:///etc/passwd"/>',
    "data in a picture": '<image href="data:image/png;base64,AA"/>',
    "page": '<foreignObject><p xmlns="http://www.w3.org/1999/xhtml">x</p></foreignObject>',
    "link": '<a href="http://example.invalid"><path d="M0 0"/></a>',
    "address": '<path style="fill: url(http://example.invalid/x)" d="M0 0"/>',
    "escaped address": '<path style="fill: u\\72l(http://example.invalid/x)" d="M0 0"/>',
    "style from outside": '<style>@import "http://example.invalid/x.css";</style>',
    "repeats": '<use href="#a"/>',
    "movement": '<animate attributeName="x"/>',
    "older link": '<path xmlns:l="http://www.w3.org/1999/xlink" l:href="http://example.invalid" d="M0 0"/>',
    "instruction": '<?xml-stylesheet href="http://example.invalid/x.css"?>',
    "foreign": '<x xmlns="urn:x"/>',
    "not closed": "<g>",
}


@pytest.mark.parametrize("body", ACTIVE.values(), ids=ACTIVE.keys())
def test_an_svg_that_is_more_than_a_picture_is_refused_with_line_and_column(body: str) -> None:
    text = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 40">\n{body}\n</svg>'
    with pytest.raises(LogoFault, match=r"line [23], column \d+: "):
        read_logo(text.encode(), "logo.svg")


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"no picture",
        b"<svg/>",
        b'<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>' + SVG.replace(b"<path", b"&b;<path"),
        SVG.replace(b'viewBox="0 0 60 40"', b""),
        SVG.replace(b"60 40", b"0 0"),
        SVG.replace(b"60 40", b"inf nan"),
        SVG.replace(b"60 40", b"9000 1"),
        SVG + b" " * MOST_BYTES,
        SVG.replace(b"<path", b"<g>" * 80 + b"<path").replace(b"</svg>", b"</g>" * 80 + b"</svg>"),
        b"\xff\xfe\x00<",
    ],
)
def test_what_is_no_svg_of_a_sensible_size_is_refused(data: bytes) -> None:
    with pytest.raises(LogoFault):
        read_logo(data, "logo.svg")


@pytest.mark.parametrize(
    "data",
    [
        SVG,
        png()[:-6],
        png()[:40],
        png().replace(b"IDAT", b"IDAX"),
        png(shown=(5000, 5000)),
        png(3, 2, shown=(0, 2)),
        # Pixels far beyond what the head tells: unpacked to the end they would fill the memory.
        png(2000, 2000, shown=(2, 2)),
        png(1, 40),
    ],
)
def test_what_is_no_whole_png_is_refused(data: bytes) -> None:
    with pytest.raises(LogoFault):
        read_logo(data, "logo.png")


@pytest.mark.parametrize(
    "name",
    [
        "../logo.svg",
        "/etc/passwd",
        "a/logo.svg",
        "a\\\\logo.svg",
        "C:logo.svg",
        ".logo.svg",
        "logo.gif",
        "logo",
        "",
    ],
)
def test_a_logo_lies_beside_the_spec(name: str) -> None:
    asked: list[str] = []
    job, parts = edited({})

    def read_file(file: str) -> bytes:
        asked.append(file)
        return parts

    reading = read_spec(job + f'\n[firm]\nname = "F"\nlogo = "{name}"\n'.encode(), "job.toml", read_file)
    (found,) = reading.findings
    assert found.rule == "spec.unusable-logo"
    assert asked == ["reference-parts.toml"]
    assert found.places[0].line == job.count(b"\n") + 4


def test_a_logo_that_is_missing_or_active_is_one_error_at_its_place() -> None:
    for files in ({}, {"logo.svg": SVG.replace(b"<path", b"<script/><path")}):
        reading = spec('name = "F"\nlogo = "logo.svg"\n', files)
        assert reading.description is None
        (found,) = reading.findings
        assert found.rule == "spec.unusable-logo"
        assert found.message.endswith(".")
        assert found.places[0].column == 8


@pytest.mark.parametrize(
    ("lines", "rule"),
    [
        ("phone = '1'\n", "spec.missing-key"),
        ("name = ''\n", "spec.out-of-range"),
        (f"name = '{'x' * 61}'\n", "spec.out-of-range"),
        ("name = 'F'\naddress = 'one line'\n", "spec.wrong-type"),
        ("name = 'F'\naddress = ['1', '2', '3', '4', '5']\n", "spec.out-of-range"),
        ("name = 'F'\nadress = ['1']\n", "spec.unknown-key"),
    ],
)
def test_a_firm_is_checked_like_every_table(lines: str, rule: str) -> None:
    assert {f.rule for f in spec(lines, {}).findings} == {rule}
