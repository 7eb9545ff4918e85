"""Templates beside this module → whole HTML pages that need nothing from outside.

Every text is escaped. Style and script are our own files and stand in the page as they are; a Content
Security Policy (W3C, level 3) names their SHA-256 and forbids everything else.
"""

from __future__ import annotations

import json
import os
from base64 import b64encode
from collections.abc import Sequence
from functools import cache
from hashlib import sha256
from importlib.resources import files
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined


def html_page(
    template: str,
    *,
    styles: Sequence[str],
    scripts: Sequence[str] = (),
    media: str = "'none'",
    images: str = "data:",
    more_style: str = "",
    **values: object,
) -> str:
    """The page that `template` makes of `values`.

    Args:
        template: its name in the folder of templates; it gets `policy`, `style` and `script` beside
            `values`, the last two to be put in with `|safe`.
        styles: names of style sheets there, put together in this order.
        scripts: names of scripts there.
        media: where sound may come from, in the words of the policy.
        images: where pictures may come from.
        more_style: rules of our own that depend on the session, after those of the style sheets.
        values: what the template shows.
    """
    style, script = ("".join(_text_of(name) for name in names) for names in (styles, scripts))
    style += more_style
    return (
        _environment()
        .get_template(template)
        .render(
            policy=_policy(style, script, media, images),
            style=style,
            script=script,
            **values,
        )
    )


def json_text(value: object) -> str:
    """`value` as JSON without blanks; the same value gives the same text."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def json_in_html(value: object) -> str:
    """JSON to be put into a script block unescaped: no text in it can end the block or begin a comment.

    HTML reads such a block as raw text up to `</script`, so `<`, `>` and `&` stand as JSON's own escapes
    (RFC 8259, section 7), which change no value.
    """
    escapes = {ord(character): f"\\u{ord(character):04x}" for character in "<>&"}
    return json_text(value).translate(escapes)


def url_beside(name: str) -> str:
    """The address of a file beside a page; `./` keeps a colon in its name from being read as a scheme.

    >>> url_beside("50% of: quay #1.mp3")
    './50%25%20of%3A%20quay%20%231.mp3'
    """
    return "./" + quote(os.fsencode(name))


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("cuetrack.writers"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def _text_of(name: str) -> str:
    return files("cuetrack.writers").joinpath("templates", name).read_text("utf-8")


def _policy(style: str, script: str, media: str, images: str) -> str:
    rules = {
        "default-src": "'none'",
        "style-src": _hash_source(style),
        "script-src": _hash_source(script) if script else "'none'",
        "media-src": media,
        "img-src": images,
        "base-uri": "'none'",
        "form-action": "'none'",
    }
    return "; ".join(f"{name} {value}" for name, value in rules.items())


def _hash_source(text: str) -> str:
    return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode('ascii')}'"
