"""Sets a certificate's document as PDF: one template, our own fonts, nothing fetched, the same bytes each time."""

from __future__ import annotations

import base64
import mimetypes
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.template.loader import render_to_string

try:
    import weasyprint
    from weasyprint.text.fonts import FontConfiguration
except OSError:  # the package is there, the library that it drives is not
    weasyprint = None

FONTS = {"Source Sans 3": "latin", "Source Sans 3 Wider": "latin-ext", "Source Sans 3 Greek": "greek"}
WEIGHTS = (400, 600)


class MissingLibrary(RuntimeError):
    """The library that sets the PDF is not on this machine."""

    words = "WeasyPrint needs Pango: apt-get install libpango-1.0-0 libpangoft2-1.0-0"

    def __init__(self) -> None:
        super().__init__(self.words)


def require_library() -> None:
    """Raise MissingLibrary where Pango is absent."""
    if weasyprint is None:
        raise MissingLibrary


def compose(
    *, document: Mapping[str, Any], digest: str, issue: Mapping[str, Any] | None, pictures: Mapping[str, str]
) -> bytes:
    """Return the PDF of a document; without `issue` it carries the draft mark; `pictures` are SVG by run number."""
    require_library()
    html = render_to_string(
        "certificates/certificate.html",
        {
            "document": document,
            "digest": digest,
            "issue": issue,
            "pictures": {number: data_address(svg.encode(), "image/svg+xml") for number, svg in pictures.items()},
            "logo": _logo(str(document["laboratory"].get("logo", ""))),
        },
    )
    return typeset(html, digest)


def typeset(html: str, digest: str) -> bytes:
    """Return the PDF of a page set with our own fonts and the style of certificates; nothing is fetched."""
    fonts = FontConfiguration()
    only_data = weasyprint.URLFetcher(allowed_protocols=("data",), fail_on_errors=True)
    sheets = [
        weasyprint.CSS(string=text, font_config=fonts, url_fetcher=only_data)
        for text in (font_faces(), render_to_string("certificates/certificate.css"))
    ]
    page = weasyprint.HTML(string=html, url_fetcher=only_data)
    identifier = bytes.fromhex(digest)[:16]
    return page.write_pdf(stylesheets=sheets, font_config=fonts, pdf_identifier=identifier, pdf_tags=True)


def data_address(content: bytes, content_type: str) -> str:
    """Return content as a data: address, the only kind that the typesetter may fetch."""
    return f"data:{content_type};base64,{base64.b64encode(content).decode()}"


@cache
def font_faces() -> str:
    """Return the style sheet that carries the fonts within itself."""
    folder = Path(settings.BASE_DIR) / "labsite/ui/static/vendor/source-sans-3"
    faces = []
    for family, part in FONTS.items():
        for weight in WEIGHTS:
            content = (folder / f"source-sans-3-{part}-{weight}-normal.woff2").read_bytes()
            source = data_address(content, "font/woff2")
            faces.append(f'@font-face{{font-family:"{family}";font-weight:{weight};src:url({source}) format("woff2")}}')
    return "\n".join(faces)


def _logo(name: str) -> str:
    if not name or not default_storage.exists(name):
        return ""
    with default_storage.open(name) as file:
        return data_address(file.read(), mimetypes.guess_type(name)[0] or "image/png")
