"""The pieces of page that a panel is written with: sentences, the table of numbers, links."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from html import escape

import ipywidgets as W
from traitlets import Unicode

CSS = """<style>
.unikit-panel img {background: #FCFBF7}
.unikit-panel .jupyter-widgets {font-size: var(--jp-widgets-font-size)}
.unikit-panel .widget-inline-hbox > .widget-label {white-space: normal; line-height: 1.05; height: auto; align-self: center}
.unikit-panel .unikit-stale {opacity: 0.45}
.unikit-panel img.unikit-stale {outline: 2px dashed #D55E00}
.unikit-panel table.unikit-numbers {border-collapse: collapse; font-size: var(--jp-widgets-font-size); line-height: 1.5}
.unikit-panel table.unikit-numbers :is(th, td) {text-align: left; padding: 1px 14px 1px 0; border: 0; vertical-align: top}
.unikit-panel table.unikit-numbers th {font-weight: normal}
.unikit-panel table.unikit-numbers td {font-weight: 600; padding-right: 0}
.unikit-panel table.unikit-numbers td.unikit-short {white-space: nowrap}
.unikit-panel .unikit-words {line-height: 1.4; white-space: normal; overflow-wrap: break-word; font-size: var(--jp-widgets-font-size)}
.unikit-panel .unikit-words p {margin: 3px 0; line-height: 1.4}
.unikit-panel p[role=alert] {border-left: 4px solid #D55E00; padding-left: 8px}
.unikit-large {--jp-widgets-font-size: 19px; --jp-widgets-inline-height: 40px}
</style>"""
SHORT = 16  # characters of a number with its unit, which must not be torn apart at a line's end


class NamedImage(W.Image):
    """An image whose tooltip names it for those who do not see it.

    The page's code for tooltips reads ``description``, which plain images lack:
    without it an image with a tooltip is not shown at all.
    """

    description = Unicode("").tag(sync=True)


def area() -> W.HTML:
    """A place for words, that wraps and never widens the page."""
    made = W.HTML(tooltip="", layout=W.Layout(width="auto", min_width="0"))
    made.add_class("unikit-words")
    return made


def heading(text: str) -> str:
    """The panel's styles and its heading."""
    return CSS + (f"<b>{escape(text)}</b>" if text else "")


def alert(text: str) -> str:
    """A sentence that a screen reader speaks at once."""
    return f'<p role="alert">{escape(sentence(text))}</p>'


def status(text: str) -> str:
    """A sentence that a screen reader speaks in its own time."""
    return f'<p role="status">{escape(sentence(text))}</p>'


def numbers(summary: Mapping[str, str]) -> str:
    """A summary as an accessible table; ``data-key`` names each value for tests."""
    rows = "".join(_row(escape(label), escape(text), len(text) <= SHORT) for label, text in summary.items())
    return f'<table class="unikit-numbers" aria-live="polite" aria-label="Numbers of the result"><tbody>{rows}</tbody></table>'


def _row(label: str, text: str, short: bool) -> str:
    kind = ' class="unikit-short"' if short else ""
    return f'<tr><th scope="row">{label}</th><td data-key="{label}"{kind}>{text}</td></tr>'


def download(label: str, name: str, kind: str, content: bytes) -> str:
    """A link that holds a file."""
    data = base64.b64encode(content).decode()
    return f'<a download="{escape(name)}" href="data:{kind};base64,{data}">{escape(label)}</a>'


def sentence(text: str) -> str:
    """A message as a sentence: a capital first, a full stop last."""
    text = text.strip() or "the values do not work together"
    return text[0].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")
