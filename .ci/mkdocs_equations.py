"""Keeps Markdown from reading the TeX of equations; they are shown as text, so that no page loads anything from elsewhere."""

import re
from html import escape


def on_page_markdown(markdown, **kwargs):
    """Turn each block between lines of ``$$`` into preformatted text."""
    return re.sub(
        r"^\$\$\n(.*?)\n\$\$$",
        lambda block: f"<pre><code>{escape(block[1], quote=False)}</code></pre>",
        markdown,
        flags=re.DOTALL | re.MULTILINE,
    )
