"""The picture of a firm: a small SVG or PNG beside the spec, looked into before anything takes it in."""

from __future__ import annotations

import base64
import re
import struct
import zlib
from dataclasses import dataclass
from functools import cached_property
from xml.etree import ElementTree

from specc.plain_svg import PICTURE, svg_fault

MOST_BYTES = 200_000
MOST_PIXELS = 2_000  # on either side
MOST_OBLONG = 20.0  # one side may be so many times the other
PNG_HEAD = b"\x89PNG\r\n\x1a\n"
CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}  # by colour type (ISO/IEC 15948, 11.2.2)
LENGTH = re.compile(r"\s*([0-9.]+)\s*(?:px|mm|cm|in|pt|pc)?\s*$")


class LogoFault(Exception):
    """The picture cannot be used; the message says where in it, and why."""


@dataclass(frozen=True)
class Logo:
    """A picture that is safe to print. ``width`` and ``height`` give its shape, in no particular unit."""

    name: str
    data: bytes
    media_type: str
    width: float
    height: float

    @cached_property
    def address(self) -> str:
        """The picture as a data address, so that a page needs no second file."""
        return f"data:{self.media_type};base64," + base64.b64encode(self.data).decode("ascii")

    def fitted(self, width: float, height: float) -> tuple[float, float]:
        """Its size in a box of this width and height, shape kept."""
        scale = min(width / self.width, height / self.height)
        return self.width * scale, self.height * scale


def name_fault(name: str) -> str:
    """Why a file of this name can be no logo; "" where it can."""
    if not re.fullmatch(r"[^/\\:\0]{1,80}\.(svg|png)", name, re.IGNORECASE) or name.startswith("."):
        return "a logo is a file beside the spec, named like logo.svg or logo.png"
    return ""


def read_logo(data: bytes, name: str) -> Logo:
    """The picture, if it is one and nothing more. Raises LogoFault."""
    if len(data) > MOST_BYTES:
        raise LogoFault(f"it is larger than {MOST_BYTES // 1000} kB")
    logo = _png(data, name) if name.lower().endswith(".png") else _svg(data, name)
    if not 1 / MOST_OBLONG <= logo.width / logo.height <= MOST_OBLONG:
        raise LogoFault(f"its width and height are as {logo.width:g} to {logo.height:g}, too narrow to print")
    return logo


def _svg(data: bytes, name: str) -> Logo:
    fault = svg_fault(data, PICTURE)
    if fault is not None:
        raise LogoFault(f"line {fault.line}, column {fault.column}: {fault.says}")
    root = ElementTree.fromstring(data)
    box = [
        float(part) for part in re.findall(r"[-0-9.eE+]+", root.get("viewBox", ""))[:4] if _is_number(part)
    ]
    sides = [LENGTH.match(root.get(side, "")) for side in ("width", "height")]
    if len(box) == 4:
        width, height = box[2:]
    elif all(sides):
        width, height = (float(side[1]) for side in sides if side)
    else:
        raise LogoFault("line 1, column 1: <svg> has neither a viewBox nor a width and height")
    if not (0.0 < width < 1e6 and 0.0 < height < 1e6):
        raise LogoFault(f"line 1, column 1: a size of {width:g} by {height:g} is none")
    return Logo(name, data, "image/svg+xml", width, height)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _png(data: bytes, name: str) -> Logo:
    """A whole PNG of moderate size (ISO/IEC 15948): its chunks, their sums, and pixels that unpack."""
    if not data.startswith(PNG_HEAD):
        raise LogoFault("it is not a PNG picture")
    at, packed, header, ended = len(PNG_HEAD), b"", b"", False
    while at + 12 <= len(data) and not ended:
        length, kind = struct.unpack(">I4s", data[at : at + 8])
        content = data[at + 8 : at + 8 + length]
        total = data[at + 8 + length : at + 12 + length]
        if len(content) != length or len(total) != 4:
            break
        if zlib.crc32(kind + content) != struct.unpack(">I", total)[0]:
            raise LogoFault(f"it is damaged at byte {at}")
        header = content if kind == b"IHDR" else header
        packed += content if kind == b"IDAT" else b""
        ended = kind == b"IEND"
        at += 12 + length
    if not ended or len(header) != 13:
        raise LogoFault("it is cut off")
    width, height, depth, colour = struct.unpack(">IIBB", header[:10])
    if not (0 < width <= MOST_PIXELS and 0 < height <= MOST_PIXELS):
        raise LogoFault(f"it has {width} by {height} pixels; at most {MOST_PIXELS} by {MOST_PIXELS} will do")
    if colour not in CHANNELS or depth not in (1, 2, 4, 8, 16):
        raise LogoFault("it is no PNG that can be read")
    # A line has a byte for its filter; an interlaced picture has more lines than its height.
    most = 2 * height * (2 + (width * CHANNELS[colour] * depth + 7) // 8) + 1024
    unpacker = zlib.decompressobj()
    try:
        pixels = unpacker.decompress(packed, most)
    except zlib.error:
        raise LogoFault("its pixels are damaged") from None
    if not unpacker.eof or len(pixels) > most:
        raise LogoFault("its pixels are cut off, or more than its size says")
    return Logo(name, data, "image/png", float(width), float(height))
