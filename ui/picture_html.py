"""A still picture with words for those who cannot see it, which Streamlit's own image lacks."""

from __future__ import annotations

from base64 import b64encode
from html import escape


def picture_html(picture: bytes, caption: str, *, width_px: int | None = None) -> str:
    """Write a picture with its caption.

    Parameters
    ----------
    picture
        JPEG or PNG.
    caption
        Shown below, and read out.
    width_px
        Widest it shall be; as wide as its place if None.

    Returns
    -------
    str
        HTML that carries the picture in itself.
    """
    kind = "png" if picture.startswith(b"\x89PNG") else "jpeg"
    data = b64encode(picture).decode("ascii")
    width = "" if width_px is None else f' style="max-width:{width_px}px"'
    return (
        f'<figure class="ts-picture"{width}><img src="data:image/{kind};base64,{data}" '
        f'alt="{escape(caption)}"><figcaption>{escape(caption)}</figcaption></figure>'
    )
