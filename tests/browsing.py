"""How browser tests open a notebook and look for what is too wide."""

import nbformat
from nbformat import v4

from unikit.lab.lesson import KERNELSPEC

MILLISECONDS = 90_000


def opened(chromium, served, name, cells, size):
    """The page of a notebook with these cells, after all of them ran."""
    folder, address, token = served
    made = v4.new_notebook(cells=[v4.new_code_cell(code) for code in cells], metadata={"kernelspec": KERNELSPEC})
    nbformat.write(made, folder / f"{name}.ipynb")
    page = chromium.new_page()
    page.set_default_timeout(MILLISECONDS)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(f"{address}/doc/tree/{name}.ipynb?token={token}&reset")
    page.wait_for_function(
        "window.jupyterapp && window.jupyterapp.shell.currentWidget && window.jupyterapp.shell.currentWidget.sessionContext"
    )
    page.evaluate(
        """async () => {
            const context = window.jupyterapp.shell.currentWidget.sessionContext;
            await context.ready;
            await window.jupyterapp.commands.execute('notebook:run-all-cells');
        }"""
    )
    return page


def too_wide(panel):
    """What inside a panel ends right of it, or makes it scroll sideways."""
    return panel.evaluate(
        """panel => {
            const edge = panel.getBoundingClientRect().right + 1;
            const wide = [...panel.querySelectorAll('*')].filter(one => one.getBoundingClientRect().right > edge)
                .map(one => one.tagName + '.' + one.className + ' ' + Math.round(one.getBoundingClientRect().right - edge));
            if (panel.scrollWidth > panel.clientWidth + 1) wide.push('the panel scrolls');
            if (document.documentElement.scrollWidth > innerWidth + 1) wide.push('the page scrolls');
            return wide.slice(0, 8);
        }"""
    )
