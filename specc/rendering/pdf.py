"""A packet as PDF. The only importer of weasyprint, and only when a PDF is really made."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from types import MappingProxyType
from typing import Any

from specc.documents.packet import Packet
from specc.rendering.html import FONTS, packet_html
from specc.resources import templates_dir

SCHEME = "specc-asset:"
LOGO = SCHEME + "logo"


class PdfUnavailable(Exception):
    """No PDF can be made here; the message says how to get it."""


class PdfIncompleteError(Exception):
    """The typesetter left something out; the message says what. Better no PDF than half a drawing."""


class ForeignAddressError(Exception):
    """The document asked for something that is not an asset of ours."""


def asset_address(file: str) -> str:
    """The address by which the document asks for one of our fonts."""
    return SCHEME + file


Assets = Mapping[str, tuple[bytes, str]]  # address -> bytes and media type


def asset_bytes(address: str) -> bytes:
    """The font at one of our own addresses. Nothing else is opened: no file, no network, no data address.

    Raises:
        ForeignAddressError: any other address.
    """
    for font in FONTS:
        if address == asset_address(font.file):
            return (templates_dir() / "fonts" / font.file).read_bytes()
    raise ForeignAddressError(f"a packet may not refer to {address[:120]!r}")


def packet_pdf(packet: Packet) -> bytes:
    """The packet as PDF bytes; the same packet always gives the same bytes.

    Raises:
        PdfUnavailable: WeasyPrint, or a system library that it needs, is missing.
        PdfIncompleteError: something could not be drawn.
        ForeignAddressError: the document refers to something that is not ours.
        ValueError: a drawing that is not plain SVG.
    """
    logo = packet.header.logo
    assets = {LOGO: (logo.data, logo.media_type)} if logo is not None else {}
    return html_to_pdf(packet_html(packet, font_url=asset_address, logo_url=LOGO), assets)


def html_to_pdf(html: str, assets: Assets = MappingProxyType({})) -> bytes:
    """A page of ours as tagged PDF; besides our fonts it may take in ``assets``.

    Raises:
        PdfUnavailable, PdfIncompleteError, ForeignAddressError: as :func:`packet_pdf`.
    """
    try:
        import weasyprint  # type: ignore[import-untyped]
        from weasyprint.urls import FatalURLFetchingError  # type: ignore[import-untyped]
    except (ImportError, OSError) as error:
        raise PdfUnavailable(
            "A PDF needs WeasyPrint and the Pango libraries: pip install weasyprint, and on Debian "
            f"apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 ({error})"
        ) from error
    # The identifier would otherwise be random.
    identifier = hashlib.sha256(html.encode("utf-8")).hexdigest()[:32].encode("ascii")
    fetcher = _own_assets_only(assets)
    with _complaints() as complaints:
        try:
            document = weasyprint.HTML(string=html, url_fetcher=fetcher)
            pdf: bytes = document.write_pdf(pdf_variant="pdf/ua-1", pdf_identifier=identifier)
        except FatalURLFetchingError as error:
            raise ForeignAddressError(str(error.__cause__ or error)) from error
    if fetcher.refused:
        raise ForeignAddressError(fetcher.refused[0])
    if complaints:
        raise PdfIncompleteError(f"the PDF would lack something: {'; '.join(complaints)}")
    return pdf


@contextmanager
def _complaints() -> Iterator[list[str]]:
    """What WeasyPrint logs as an error while it works: it then leaves the thing out, in silence otherwise."""
    messages: list[str] = []
    handler = logging.Handler(logging.ERROR)
    handler.emit = lambda record: messages.append(record.getMessage())  # type: ignore[method-assign]
    logger = logging.getLogger("weasyprint")
    logger.addHandler(handler)
    try:
        yield messages
    finally:
        logger.removeHandler(handler)


def _own_assets_only(assets: Assets = MappingProxyType({})) -> Any:
    """A fetcher that asks :func:`asset_bytes` for everything and keeps what that refused."""
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    class OwnAssets(URLFetcher):  # type: ignore[misc]
        def __init__(self) -> None:
            super().__init__(fail_on_errors=True)
            self.refused: list[str] = []

        def fetch(self, url: str, headers: object = None) -> URLFetcherResponse:
            if url in assets:
                data, media_type = assets[url]
                return URLFetcherResponse(url, data, {"Content-Type": media_type})
            try:
                return URLFetcherResponse(url, asset_bytes(url), {"Content-Type": "font/ttf"})
            except ForeignAddressError as error:
                self.refused.append(str(error))
                raise

    return OwnAssets()
